package check

import (
	"math"
	"slices"

	"mullion/finding"
)

// judgeSet says what only a comparison of views can tell.
func (r *Report) judgeSet(views []*View) {
	judgeColour(views)
	judgeOdd(views)
	judgeTwins(views)
	judgeDark(views)
	r.judgeDust(views)
}

// judgeColour looks for views whose camera was set to another light than the one that
// fell, unlike the others'. A rendered file has that baked in; for it the cast that is
// left is compared.
func judgeColour(views []*View) {
	var off []float64
	for _, v := range views {
		if d, ok := v.trace.cast(); ok {
			off = append(off, d)
		}
	}
	usual := 0.
	if len(off) >= castViews {
		usual = middleOf(slices.Clone(off))
	}
	for _, v := range views {
		t := &v.trace
		d, ok := t.cast()
		if !ok {
			continue
		}
		far := math.Abs(d - usual)
		if len(off) < castViews {
			far = math.Abs(d) - castLook/2 // nothing to compare with: only what is plain
		}
		if far < castLook || math.Abs(d) < castLook {
			continue
		}
		v.sayColour(d, far, len(off) >= castViews)
	}
}

// cast is by how many mired the camera's setting is off the light, positive when its
// pictures come out orange.
func (t *trace) cast() (float64, bool) {
	if !t.seen || t.sure < castSure || t.exterior {
		return 0, false
	}
	if t.rendered {
		return mired(t.kelvin) - mired(6504), true
	}
	if t.setKelvin == 0 {
		return 0, false
	}
	return mired(t.kelvin) - mired(t.setKelvin), true
}

func (v *View) sayColour(d, far float64, compared bool) {
	t := &v.trace
	tint := "blue"
	if d > 0 {
		tint = "orange"
	}
	if t.rendered {
		sev, unlike := finding.Note, ""
		if compared {
			sev, unlike = finding.Look, ", unlike the other views'"
			if far >= castReshot {
				sev = finding.Reshoot
			}
		}
		v.say("colour-cast", sev, d, "mired",
			"White surfaces in this view are %s%s: they look as under %.0f K (Duv %+.4f), %.0f mired off. The file has the camera's setting baked in. Set the white balance by hand (if it stood at daylight, 5500 K, set %.0f K), or shoot raw, and shoot again.",
			tint, unlike, t.kelvin, t.duv, math.Abs(d), kelvinToSet(daylightSetting, d))
		return
	}
	sev, unlike := finding.Look, ", unlike the other views"
	if !compared {
		unlike = ""
	}
	v.say("white-balance", sev, d, "mired",
		"The camera was set to %.0f K and the light is %.0f K (Duv %+.4f), %.0f mired apart%s: its pictures come out %s. Set %.0f K. The raw files lose nothing; JPEG files beside them do.",
		t.setKelvin, t.kelvin, t.duv, math.Abs(d), unlike, tint, math.Round(t.kelvin/50)*50)
}

// daylightSetting is what cameras' daylight setting stands for, in kelvin (common
// practice, no source).
const daylightSetting = 5500

// kelvinToSet is the setting that takes a cast of so many mired off, to 50 K.
func kelvinToSet(was, mireds float64) float64 {
	k := 1e6 / math.Max(50, math.Min(500, mired(was)+mireds))
	return math.Round(k/50) * 50
}

// judgeOdd finds views that were taken with another sensitivity or are softer than the
// rest.
func judgeOdd(views []*View) {
	var isos, blurs []float64
	for _, v := range views {
		if v.trace.iso > 0 {
			isos = append(isos, v.trace.iso)
		}
		if v.trace.blur > 0 {
			blurs = append(blurs, v.trace.blur)
		}
	}
	if len(views) < 3 {
		return
	}
	for _, v := range views {
		t := &v.trace
		if len(isos) >= 3 {
			usual := middleOf(slices.Clone(isos))
			if t.iso >= 2*usual && !v.has("iso-high") {
				v.say("iso-differs", finding.Note, t.iso, "ISO", "This view was taken at ISO %.0f, the card's others at %.0f: its shadows are noisier.", t.iso, usual)
			}
		}
		if len(blurs) < 3 || v.has("soft") {
			continue
		}
		usual := math.Max(.7, middleOf(slices.Clone(blurs)))
		shown := t.blur * math.Min(1, deliveredEdge/float64(max(1, t.edge)))
		if t.blur >= softerReshot*usual && shown >= softDelivered*.75 {
			v.say("soft", finding.Look, t.blur, "px", "This view is %.1f times softer than the card's others (blurred by %.1f pixels). Check the focus at full magnification and shoot again.", t.blur/usual, t.blur)
		}
	}
}

func (v *View) has(code string) bool {
	return slices.ContainsFunc(v.Findings, func(f finding.Finding) bool { return f.Code == code })
}

// judgeTwins finds views that show the same composition.
func judgeTwins(views []*View) {
	for i, v := range views {
		if v.has("near-duplicate") {
			continue
		}
		for _, w := range views[:i] {
			if a := alike(&v.trace, &w.trace); a >= sameView {
				v.say("near-duplicate", finding.Note, a, "", "This view shows the same picture as %s; one of the two will do, the better one.", w.ID)
				break
			}
		}
	}
}

// judgeDark compares the views of one room, where the job or marks tell the rooms.
func judgeDark(views []*View) {
	rooms := map[string][]*View{}
	for _, v := range views {
		if v.Room != "" && v.trace.absolute && !v.trace.exterior {
			rooms[v.Room] = append(rooms[v.Room], v)
		}
	}
	for name, list := range rooms {
		if len(list) < 2 {
			continue
		}
		brightest := list[0]
		for _, v := range list {
			if v.trace.room > brightest.trace.room {
				brightest = v
			}
		}
		for _, v := range list {
			if d := brightest.trace.room - v.trace.room; d >= roomDarker {
				v.say("room-darker", finding.Look, d, "EV", "The %s is %.1f EV darker here than in %s: was a lamp left off, or a blind closed? Make all views of a room alike and shoot again.", name, d, brightest.ID)
			}
		}
	}
}
