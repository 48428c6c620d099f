package check

import (
	"math"
	"path/filepath"

	"mullion/finding"
	"mullion/group"
)

// judge turns what was measured on one view into findings. What only a comparison of
// views can tell is said by the set.
func (r *View) judge(v *seen, g group.View) {
	r.judgeFiles(v)
	r.judgeBracket(g)
	if v.merged == nil {
		r.say("nothing-usable", finding.Reshoot, float64(len(v.frames)), "frames",
			"None of the %d frames can be used, so there is no picture of this view. Shoot it again.", len(v.frames))
		return
	}
	r.judgeMerge(v)
	r.judgeWindow(v)
	r.judgeBlank(v)
	r.judgeShadows(v)
	r.judgeMove(v)
	r.judgeSharpness(v)
	r.judgeSettings(v)
	r.judgeTilt(v)
	r.judgeMotion(v)
	r.judgeLamps(v)
	r.judgeFlare(v)
}

func (r *View) judgeFiles(v *seen) {
	for i, f := range v.frames {
		if f.err != nil {
			r.say("frame-unreadable", finding.Reshoot, float64(i+1), "frame",
				"One frame can't be read, now or later: %v. Shoot the view again, and use another card if it happens twice.", f.err)
		}
	}
}

// judgeBracket passes on what the grouping noticed about the exposures.
func (r *View) judgeBracket(g group.View) {
	for _, n := range g.Notes {
		switch n.Code {
		case "frame-missing":
			r.say("bracket-incomplete", finding.Reshoot, n.Value, n.Unit, "%s If it never was taken, shoot the view again.", n.Message)
		case "bracket-uneven":
			if r.MarkBefore {
				continue // the mark was counted as its last step
			}
			r.say("bracket-uneven", finding.Note, n.Value, n.Unit, "%s", n.Message)
		case "near-duplicate":
			r.say("near-duplicate", finding.Note, n.Value, n.Unit, "%s", n.Message)
		case "exposure-repeated", "exposure-estimated":
			r.say(n.Code, finding.Note, n.Value, n.Unit, "%s", n.Message)
		}
	}
}

// judgeMerge passes on what the merge could not reconcile.
func (r *View) judgeMerge(v *seen) {
	for _, f := range v.merged.Findings {
		switch f.Code {
		case "light-changed":
			if v.flicker.banding >= bandLook {
				continue // said by judgeLamps
			}
			r.say("light-changed", finding.Reshoot, f.Value, f.Unit,
				"%s of the picture differs between the frames by more than their exposures: a lamp was switched or the sun came or went. No frame fits the others, so shoot the view again in steady light.", percent(f.Value))
		case "exposure-differs":
			if !v.offExposure() {
				continue // a frame too dark to tell
			}
			r.say("exposure-differs", finding.Look, f.Value, f.Unit, "%s", f.Message)
		}
	}
	for i, f := range v.merged.Frames {
		if f.Why == "" || v.frames[i].err != nil {
			continue
		}
		name := filepath.Base(r.Frames[i].File)
		switch f.Why {
		case "all of it is clipped", "all of it is black":
			r.say("frame-empty", finding.Note, float64(i+1), "frame", "Frame %d (%s) shows nothing: %s. The others are enough if no other finding names them.", i+1, name, f.Why)
		default:
			if !v.frames[i].sees() {
				r.say("frame-empty", finding.Note, float64(i+1), "frame", "Frame %d (%s) is too dark or too bright to show where it lies, and is left out. The others are enough if no other finding names them.", i+1, name)
				continue
			}
			if v.zoomed() || v.banded[i] {
				continue // said by judgeSettings or judgeLamps
			}
			r.say("camera-moved", finding.Reshoot, float64(i+1), "frame",
				"Frame %d (%s) doesn't fit the others: %s. Shoot the view again without touching the tripod.", i+1, name, f.Why)
		}
	}
}

// farthest is how far the camera moved between the frames, in full-size pixels.
func (v *seen) farthest() float64 { d, _ := v.moves(); return d }

// moves is the largest displacement of any corner of a used frame, and which frame's.
func (v *seen) moves() (most float64, worst int) {
	for _, i := range v.used {
		f, m := v.frames[i], v.merged.Frames[i]
		turn := math.Abs(m.RotationDeg) * math.Pi / 180 * math.Hypot(float64(f.fullW), float64(f.fullH)) / 2
		if d := math.Hypot(m.ShiftX, m.ShiftY)*float64(f.step) + turn; d > most && f.sees() {
			most, worst = d, i
		}
	}
	return most, worst
}

func (r *View) judgeMove(v *seen) {
	if len(v.used) < 2 || v.zoomed() {
		return
	}
	most, worst := v.moves()
	f := v.frames[worst]
	if most < bumpLook || most < bumpSmall*float64(f.step) {
		return
	}
	edge := float64(max(f.fullW, f.fullH))
	sev := finding.Look
	how := "It will be aligned; shoot again if you can, with a self-timer or a cable release"
	if most > bumpReshot*edge {
		sev, how = finding.Reshoot, "That is too much to align near and far things at once: shoot again from a tripod, with a self-timer or a cable release"
	}
	r.say("camera-moved", sev, most, "px",
		"The camera moved by %.1f pixels (%s of the picture's width) between the frames, most in frame %d (%s). %s.",
		most, percent(most/edge), worst+1, filepath.Base(r.Frames[worst].File), how)
}

// sees is false for a frame too dark or too bright to tell where it lies.
func (s *small) sees() bool {
	good, n := 0, 0
	g := s.colours()[1]
	sd := 12 * math.Sqrt(s.noise.o)
	if s.frame.Coded != nil {
		sd = .08
	}
	for y := 0; y < g.H; y += 4 {
		for x := 0; x < g.W; x += 4 {
			n++
			if c := g.Row(y)[x]; float64(c) > sd && c < .9 {
				good++
			}
		}
	}
	return float64(good) > bumpSeen*float64(n)
}

// offExposure reports whether two frames that both show the room differ by another
// ratio than their files say.
func (v *seen) offExposure() bool {
	for k := 0; k+1 < len(v.used); k++ {
		i, j := v.used[k], v.used[k+1]
		a, b := v.merged.Frames[i], v.merged.Frames[j]
		if v.frames[i].sees() && v.frames[j].sees() && math.Abs(b.RefinedEV-b.EV-a.RefinedEV+a.EV) > exposureOff {
			return true
		}
	}
	return false
}

func (r *View) judgeTilt(v *seen) {
	cost := 1 - v.kept
	sev, ok := graded3(cost, tiltNote, tiltLook, tiltReshot)
	if !ok {
		return
	}
	r.say("tilt", sev, cost, "share",
		"The camera was tilted: pitch %+.1f and roll %+.1f degrees. Making the walls upright will cost %s of the frame. Level the camera%s and shoot again if something at the edge matters.",
		v.pose.PitchDeg, v.pose.RollDeg, percent(cost), v.standing())
}

func (v *seen) standing() string {
	if v.info.Orientation >= 5 {
		return " (check it with a bubble: built-in levels are often wrong on end)"
	}
	return ""
}

func (r *View) judgeMotion(v *seen) {
	share := v.movedShare()
	if share < movingNote || share > movingReshot && v.flicker.banding >= bandLook {
		return // nothing, or the bands of pulsing lamps
	}
	first := v.moving[0]
	sev, ok := graded(share, movingLook, movingReshot)
	how := "Stop it (fan, curtain, people, pets, a screen) and shoot again, or each place will be shown as one frame saw it"
	if !ok {
		sev, how = finding.Note, "Small enough to be mended"
	}
	places := first.at.where()
	if n := len(v.moving); n > 1 {
		places += ", in all " + count(n, "place")
	}
	r.say("moving", sev, share, "share", "Something moved %s: %s of the picture. %s.", places, percent(share), how)
}

func (r *View) judgeLamps(v *seen) {
	f := v.flicker
	if sev, ok := graded(f.banding, bandLook, bandReshot); ok {
		r.say("flicker", sev, f.banding, "EV",
			"Lamps pulse: %s across the frame of %s, %.2f EV from light to dark. Use a longer exposure for that frame, best a whole number of pulses: 1/50 or 1/25 s where the mains have 50 Hz, 1/60 or 1/30 s where they have 60.",
			count(max(2, f.bands), "band"), speed(f.seconds), 2*f.banding)
		return
	}
	if i := v.shortUnderLamps(); i >= 0 {
		t := v.frames[i].info.Seconds
		r.say("flicker-risk", finding.Note, t, "s",
			"Frame %d took %s, less than half a period of the mains, one pulse of their lamps (1/100 or 1/120 s): its brightness and colour depend on the instant. No bands are seen; a lower ISO or a smaller aperture would make all frames longer.", i+1, speed(t))
	}
}

// shortUnderLamps is the shortest frame that shows a lamp-lit room and took less than
// one pulse of its lamps, or -1.
func (v *seen) shortUnderLamps() int {
	if v.windows == nil || v.ev100() >= exteriorEV || v.light.Kelvin >= lampWarm || v.light.Confidence < castSure {
		return -1
	}
	for _, i := range v.used {
		f := v.frames[i]
		if t := f.info.Seconds; t > 0 && t < onePulse*.9 && f.frame.Coded == nil && planeQuantile(f.colours()[1], .5) > lampLit {
			return i
		}
	}
	return -1
}

// ev100 is the exposure value of the room's median luminance at ISO 100 (ISO 2720 with
// K = 12.5: L = 2^(EV-3) cd/m2), or 0 when the exposure is unknown.
func (v *seen) ev100() float64 {
	if !v.merged.Absolute || v.windows == nil || v.rendered {
		return 0
	}
	return v.windows.Room + math.Log2(100) + 3
}
