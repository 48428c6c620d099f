package group

import (
	"fmt"
	"math"
	"slices"
)

// bracket is the pattern most of a card's brackets have.
type bracket struct {
	frames int
	step   float64
}

// usualBracket returns the pattern of at least three brackets and more than half
// of them; zero when there is no such habit.
func usualBracket(parts []part) bracket {
	count := map[bracket]int{}
	total := 0
	for _, p := range parts {
		ev := slices.Clone(p.r.ev[p.i:p.j])
		if len(ev) < 2 || !known(ev) {
			continue
		}
		total++
		slices.Sort(ev)
		if step := typicalStep(ev); evenSteps(ev, step) {
			count[bracket{len(ev), math.Round(step*3) / 3}]++
		}
	}
	for b, n := range count {
		if n >= 3 && 2*n > total {
			return b
		}
	}
	return bracket{}
}

func (p part) notes(v View, usual bracket) []Note {
	var notes []Note
	if v.Estimated {
		notes = append(notes, Note{"exposure-estimated", "note", "The files don't say how they were exposed; the steps are estimated from the pictures.", v.EV[len(v.EV)-1] - v.EV[0], "EV"})
	}
	if !v.Estimated && known(v.EV) {
		notes = append(notes, p.steps(v, usual)...)
	}
	return append(notes, p.settings()...)
}

// steps remarks on frames that are missing, doubled or unevenly spaced.
func (p part) steps(v View, usual bracket) []Note {
	var notes []Note
	step := gridStep(v.EV)
	missing, doubled := 0, 0
	for k := 1; k < len(v.EV); k++ {
		switch d := v.EV[k] - v.EV[k-1]; {
		case d < sameEV:
			doubled++
		case step > 0:
			missing += int(math.Round(d/step)) - 1
		}
	}
	short := usual.frames - len(v.EV)
	switch {
	case missing > 0:
		notes = append(notes, Note{"frame-missing", "look",
			fmt.Sprintf("%s missing from the steps of this bracket (one step is %.1f EV); if it was deleted by mistake, look for it on the card.", frames(missing), step), float64(missing), "frames"})
	case step == 0 && len(v.EV) > 2:
		notes = append(notes, Note{"bracket-uneven", "note",
			fmt.Sprintf("The steps of this bracket are uneven (%s EV); it can be merged all the same.", stepList(v.EV)), largestStep(v.EV), "EV"})
	case short > 0 && len(v.EV) > 1 && math.Abs(typicalStep(v.EV)-usual.step) < 0.34:
		notes = append(notes, Note{"frame-missing", "look",
			fmt.Sprintf("This bracket has %d frames and this card's others have %d: %s missing at one end (it goes from %+.1f to %+.1f EV).", len(v.EV), usual.frames, frames(short), v.EV[0], v.EV[len(v.EV)-1]), float64(short), "frames"})
	}
	if doubled > 0 {
		notes = append(notes, Note{"exposure-repeated", "note", fmt.Sprintf("%d of the frames have an exposure that the bracket has already.", doubled), float64(doubled), "frames"})
	}
	return notes
}

func frames(n int) string {
	if n == 1 {
		return "1 frame is"
	}
	return fmt.Sprintf("%d frames are", n)
}

// gridStep is the step of which all steps are whole multiples, repeats left out. It
// is 0 when there is none, or when more steps are skipped than taken.
func gridStep(sorted []float64) float64 {
	step := math.Inf(1)
	for k := 1; k < len(sorted); k++ {
		if d := sorted[k] - sorted[k-1]; d >= sameEV {
			step = min(step, d)
		}
	}
	taken, skipped := 0, 0.0
	for k := 1; k < len(sorted); k++ {
		d := sorted[k] - sorted[k-1]
		if d < sameEV {
			continue
		}
		whole := math.Round(d / step)
		if math.Abs(d-whole*step) > min(0.34, 0.2*step) {
			return 0
		}
		if whole == 1 {
			taken++
		}
		skipped += whole - 1
	}
	if skipped > float64(taken) {
		return 0
	}
	return step
}

func stepList(sorted []float64) string {
	s := ""
	for k := 1; k < len(sorted); k++ {
		if k > 1 {
			s += ", "
		}
		s += fmt.Sprintf("%.1f", sorted[k]-sorted[k-1])
	}
	return s
}

func largestStep(sorted []float64) float64 {
	top := 0.0
	for k := 1; k < len(sorted); k++ {
		top = max(top, sorted[k]-sorted[k-1])
	}
	return top
}

// settings remarks on an aperture or a sensitivity that changed on the way.
func (p part) settings() []Note {
	var notes []Note
	low, high := p.r.frames[p.i].Info, p.r.frames[p.i].Info
	for _, f := range p.r.frames[p.i:p.j] {
		if n := f.Info.FNumber; n > 0 {
			low.FNumber, high.FNumber = min(low.FNumber, n), max(high.FNumber, n)
		}
		if s := f.Info.ISO; s > 0 {
			low.ISO, high.ISO = min(low.ISO, s), max(high.ISO, s)
		}
	}
	if low.FNumber > 0 && math.Log2(high.FNumber/low.FNumber) > 0.08 {
		notes = append(notes, Note{"settings-changed", "look",
			fmt.Sprintf("The aperture changed within the bracket, from f/%.1f to f/%.1f: sharpness and corner brightness change with it; bracket by time.", low.FNumber, high.FNumber), 2 * math.Log2(high.FNumber/low.FNumber), "EV"})
	}
	if low.ISO > 0 && high.ISO > low.ISO {
		notes = append(notes, Note{"settings-changed", "note",
			fmt.Sprintf("The ISO changed within the bracket, from %.0f to %.0f: the brighter frames are noisier than time alone would make them.", low.ISO, high.ISO), math.Log2(high.ISO / low.ISO), "EV"})
	}
	return notes
}

// soon is how many seconds after a view another one of the same picture is likely
// a repeat of it.
const soon = 30

// duplicate remarks on a view that shows what the one before shows.
func (p part) duplicate(before *part) []Note {
	if before == nil || before.r != p.r || p.r.gap[p.i] > soon {
		return nil
	}
	a, b := p.r.witnesses(p.i, max(before.i, p.i-near), min(p.j, p.i+near))
	l := p.r.album.compare(p.r.index[a], p.r.index[b])
	if l.pixels < plenty || l.agree < 0.8 {
		return nil
	}
	return []Note{{"near-duplicate", "note", "This view shows the same picture as the one before; one of the two will do.", 100 * l.agree, "%"}}
}
