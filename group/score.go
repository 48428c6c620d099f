package group

import (
	"math"
	"slices"
)

// The figures of this file are logarithms of likelihood ratios in nats and come
// from practice, not from a source: common practice of cameras and photographers.
// 3 is twenty to one, 7 is a thousand to one.
const (
	longest = 21 // frames a view may have

	repeated     = -12.0 // an exposure that the view already has
	repeatedMore = -5.0  // each further one
	wideStep     = -1.5  // a step of more than 6 EV
	skippedStep  = -1.5  // a step twice or three times the others: a frame deleted
	unevenStep   = -1.0  // a step that fits no grid
	oddOrder     = -3.0  // neither rising nor falling nor outwards from the middle
	otherBase    = -1.5  // exposure less bias moved: the camera metered anew
	otherMode    = -2.0  // bracketing was switched on or off
	loneBracket  = -2.0  // one frame, of which the camera says that it is of a bracket
	otherNumber  = -2.5  // another f-number
	otherISO     = -0.5  // another ISO: some phones step by it
	sameEV       = 0.2   // EV below which two exposures are one setting
	usualPattern = 3.0   // a pattern that all other views have
)

// sizePrior is the logarithm of how common views of n frames are.
func sizePrior(n int) float64 {
	usual := [...]float64{0, .12, .03, .30, .025, .29, .02, .12, .01, .06}
	if n < len(usual) {
		return math.Log(usual[n])
	}
	return math.Log(.004)
}

// lognormal is the density of ln(x) for a median and a spread in natural logarithms.
func lognormal(x, median, spread float64) float64 {
	z := math.Log(x/median) / spread
	return math.Exp(-z*z/2) / (spread * math.Sqrt(2*math.Pi))
}

// pauseScore weighs a pause of s seconds: within a view most follow at once, some
// when the photographer has turned a dial, a few after a second burst was set up.
// Between views the tripod is carried, which takes most of a minute, seldom less
// than five seconds.
func pauseScore(s float64, coarse bool) float64 {
	if math.IsNaN(s) {
		return 0
	}
	if coarse {
		s = max(s, 0.4) // the second it fell into is all we know
	}
	s = max(s, 0.05)
	within := .80*lognormal(s, .35, 1.1) + .16*lognormal(s, 4, .8) + .04*lognormal(s, 30, .8)
	between := .92*lognormal(s, 40, 1.2) + .08*lognormal(s, 5, .8)
	return math.Log(within+1e-9) - math.Log(between+1e-9)
}

// habits are what the card's other views look like.
type habits struct {
	pattern map[string]float64 // the share of views with a pattern of exposures
}

// score is the logarithm of how likely frames i to j (j not included) are one view.
func (r *run) score(i, j int, h habits) float64 {
	n := j - i
	s := sizePrior(n)
	if n == 1 {
		if r.frames[i].Info.Mode == bracketMode {
			s += loneBracket
		}
		return s
	}
	metered := 0
	for k := i + 1; k < j; k++ {
		s += pauseScore(r.gap[k], r.coarse) + r.changes(k)
		if r.meteredAnew(k) {
			metered++
		}
	}
	s += otherBase * float64(min(metered, 2))
	if known(r.ev[i:j]) {
		s += r.exposures(i, j)
		s += usualPattern * h.pattern[pattern(r.ev[i:j])]
	}
	if r.content != nil {
		s += r.pictures(i, j)
	}
	return s
}

func known(ev []float64) bool {
	return !slices.ContainsFunc(ev, math.IsNaN)
}

// changes weighs the settings that differ between frame k and the one before.
func (r *run) changes(k int) float64 {
	a, b := r.frames[k-1].Info, r.frames[k].Info
	s := 0.0
	if a.Mode != b.Mode {
		s += otherMode
	}
	if a.FNumber > 0 && b.FNumber > 0 && math.Abs(math.Log2(a.FNumber/b.FNumber)) > 0.08 {
		s += otherNumber
	}
	if a.ISO > 0 && b.ISO > 0 && a.ISO != b.ISO {
		s += otherISO
	}
	return s
}

// meteredAnew reports whether the exposure less its bias moved before frame k.
func (r *run) meteredAnew(k int) bool {
	a, b := r.frames[k-1].Info, r.frames[k].Info
	if !a.HasBias || !b.HasBias || a.Bias == 0 && b.Bias == 0 {
		return false
	}
	return math.Abs((r.ev[k]-b.Bias)-(r.ev[k-1]-a.Bias)) > 0.34
}

// exposures weighs the steps between the exposures and their order.
func (r *run) exposures(i, j int) float64 {
	var buf [longest]float64
	ev := append(buf[:0], r.ev[i:j]...)
	slices.Sort(ev)
	s, repeat, uneven := 0.0, repeated, 0
	step := typicalStep(ev)
	for k := 1; k < len(ev); k++ {
		d := ev[k] - ev[k-1]
		switch ratio := d / step; {
		case d < sameEV:
			if !r.biasDiffers(i, j, ev[k]) {
				s += repeat
				repeat = repeatedMore
			}
		case len(ev) == 2 || ratio > 0.75 && ratio < 1.3:
		case math.Abs(ratio-2) < 0.15 || math.Abs(ratio-3) < 0.15:
			s += skippedStep
		default:
			uneven++
		}
		if d > 6 {
			s += wideStep
		}
	}
	s += unevenStep * float64(min(uneven, 3))
	if len(ev) > 2 && !usualOrder(r.ev[i:j]) {
		s += oddOrder
	}
	return s
}

// biasDiffers reports whether the frames of one exposure were meant to differ: a
// camera at the end of its shutter speeds gives two biases the same time.
func (r *run) biasDiffers(i, j int, ev float64) bool {
	seen := map[float64]bool{}
	n := 0
	for k := i; k < j; k++ {
		if math.Abs(r.ev[k]-ev) < sameEV {
			if !r.frames[k].Info.HasBias {
				return false
			}
			seen[r.frames[k].Info.Bias] = true
			n++
		}
	}
	return len(seen) == n
}

// typicalStep is the median step of sorted exposures, repeats left out; 1 when
// there is none.
func typicalStep(sorted []float64) float64 {
	var buf [longest]float64
	d := buf[:0]
	for k := 1; k < len(sorted); k++ {
		if step := sorted[k] - sorted[k-1]; step >= sameEV {
			d = append(d, step)
		}
	}
	if len(d) == 0 {
		return 1
	}
	slices.Sort(d)
	return d[(len(d)-1)/2]
}

// usualOrder reports whether exposures come as cameras and people take them:
// rising, falling, from the middle (or the first) outwards in turn, inwards, or
// the middle first, then one side, then the other.
func usualOrder(ev []float64) bool {
	low, high := slices.Min(ev), slices.Max(ev)
	return monotone(ev, 1) || monotone(ev, -1) || outwards(ev, ev[0]) || outwards(ev, (low+high)/2) || inwards(ev) || sideBySide(ev)
}

func monotone(ev []float64, sign float64) bool {
	for k := 1; k < len(ev); k++ {
		if sign*(ev[k]-ev[k-1]) < -0.1 {
			return false
		}
	}
	return true
}

func outwards(ev []float64, middle float64) bool {
	for k := 1; k < len(ev); k++ {
		if math.Abs(ev[k]-middle) < math.Abs(ev[k-1]-middle)-0.4 {
			return false
		}
	}
	return true
}

// inwards: the extremes first and the middle last; rare enough to ask for five.
func inwards(ev []float64) bool {
	if len(ev) < 5 {
		return false
	}
	back := slices.Clone(ev)
	slices.Reverse(back)
	return outwards(back, back[0])
}

func sideBySide(ev []float64) bool {
	rest := ev[1:]
	turn := 1
	for turn < len(rest) && (rest[turn]-rest[turn-1])*(rest[0]-ev[0]) > 0 {
		turn++
	}
	if turn == len(rest) {
		return true
	}
	if (rest[turn]-ev[0])*(rest[0]-ev[0]) > 0 {
		return false
	}
	other := append([]float64{ev[0]}, rest[turn:]...)
	return monotone(other, 1) || monotone(other, -1)
}
