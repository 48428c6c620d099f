package check

import (
	"math"

	"mullion/finding"
)

// judgeWindow says what the darkest frame lost of the world outside.
func (r *View) judgeWindow(v *seen) {
	c := v.clipped
	if c.window < windowNote || c.area < windowArea {
		return
	}
	ev := halves(c.missing)
	about := "about "
	if c.bound {
		about = "at least "
	}
	next := ""
	if t := v.darkest().info.Seconds; t > 0 {
		next = " (" + speed(t*math.Exp2(-ev)) + ")"
	}
	faint := c.missing <= paneSkyOver && !c.bound
	if c.onlySky >= onlySky && (c.window < windowReshot || faint) {
		sev := finding.Look
		if c.window < windowLook || c.window < windowReshot && faint {
			sev = finding.Note
		}
		r.say("sky-clipped", sev, c.window, "share",
			"The sky in the window is burnt out: %s of the glass is clipped even in the darkest frame, all of it at the top of the panes or glints. It will be white; what stands before it is there. For its clouds, add a frame %s%s darker%s.",
			percent(c.window), about, stops(ev), next)
		return
	}
	sev, _ := graded3(c.window, windowNote, windowLook, windowReshot)
	r.say("window-clipped", sev, c.window, "share",
		"%s of what is seen through the window is clipped even in the darkest frame: that part of the view outside can't be brought back. The bracket is %s%s short; shoot again with one more frame that much darker%s.",
		percent(c.window), about, stops(ev), next)
}

// judgeBlank is about clipped patches that are no window: skies and what was not
// recognised.
func (r *View) judgeBlank(v *seen) {
	c := v.clipped
	if v.ev100() >= exteriorEV {
		if sev, ok := graded(c.sky, skyLook, skyReshot); ok {
			r.say("sky-clipped", sev, c.sky, "share",
				"The sky is burnt out: %s of the picture is clipped even in the darkest frame. Shoot again with a frame two stops darker, or later when the sun is off the sky behind the house.", percent(c.sky))
		}
		return
	}
	if sev, ok := graded3(c.sky, lampShare, blankLook, blankReshot); ok {
		if sev == finding.Note {
			r.say("highlights-clipped", sev, c.sky, "share",
				"A bright patch %s is clipped even in the darkest frame: %s of the picture, most likely a lamp; it will be white. If it is a window, shoot again with one more, darker frame.", c.skyBox.where(), percent(c.sky))
			return
		}
		r.say("highlights-clipped", sev, c.sky, "share",
			"A bright patch %s is clipped even in the darkest frame: %s of the picture, more than a lamp covers. If it is a window or sun on a wall, shoot again with one more, darker frame.", c.skyBox.where(), percent(c.sky))
	}
}

func (r *View) judgeShadows(v *seen) {
	s := v.shadows
	b := v.brightest()
	if b.frame.Coded != nil {
		if s.code < blackCode {
			r.say("shadows-drown", finding.Look, s.code, "code",
				"The darkest parts are black even in the brightest frame (code %.0f of 255). Shoot again with one more frame, two stops brighter, if something is to be seen there.", s.code)
		}
		return
	}
	sev, ok := graded(s.missing, shadowLook, shadowReshot)
	if !ok {
		return
	}
	ev := halves(s.missing)
	next := ""
	if t := b.info.Seconds; t > 0 {
		next = " (" + speed(t*math.Exp2(ev)) + ")"
	}
	r.say("shadows-drown", sev, s.missing, "EV",
		"The darkest parts stand only %.1f times above the noise in the brightest frame; under %d it shows. The bracket is about %s short: shoot again with one more frame that much brighter%s.",
		s.snr, shadowSNR, stops(ev), next)
}

// judgeFlare compares the darkest thousandth with the mean. A room has something dark
// in it somewhere; light scattered in a lens lies over that too.
func (r *View) judgeFlare(v *seen) {
	if v.rendered || v.windows == nil {
		return
	}
	veil := v.veil()
	if veil < veilLook {
		return
	}
	r.say("flare", finding.Look, veil, "share",
		"There is a veil over the picture: even its darkest parts have %s of the mean brightness. Unless all in the room is white, a lamp or the sun shines into the lens, or its front is smeared: shade it, clean it, and shoot again.", percent(veil))
}

// veil is the darkest thousandth over the mean of the picture where it is not clipped.
func (v *seen) veil() float64 {
	dark := math.Exp2(planeQuantile(v.level, .001))
	sum, n := 0., 0
	for y := 0; y < v.level.H; y += 3 {
		row := v.level.Row(y)
		for x := 0; x < len(row); x += 3 {
			sum += math.Exp2(float64(row[x]))
			n++
		}
	}
	return dark / math.Max(1e-9, sum/float64(n))
}
