package whitebalance

import (
	"cmp"
	"math"
	"slices"

	"mullion/colour"
)

// oneLight is the spread in mired under which a view counts as lit by one light.
const oneLight = 50

// parted parts the light of a view at the middle between its warmest and its coolest
// tenth. It returns the mean of the part that is the larger, which is the main light,
// and the far end of the other; that is zero when the view is lit by one light. From
// base the warmth of a place is measured: it is the main light, but where neither part
// is much the larger it lies between them, so that a little more or less of one light
// makes a little difference.
func parted(all []lightSample) (main, second, base chroma) {
	var total float64
	for i := range all {
		k, _ := colour.CCT(all[i].c.xy())
		if k <= 0 {
			all[i].weight, k = 0, 6500
		}
		all[i].along = -1e6 / k
		total += all[i].weight
	}
	if total <= 0 {
		return chroma{}, chroma{}, chroma{}
	}
	slices.SortStableFunc(all, func(a, b lightSample) int { return cmp.Compare(b.along, a.along) }) // coolest first
	mean := func(lo, hi float64) (c chroma) {
		var sum, w float64
		for _, s := range all {
			if sum >= lo*total && sum <= hi*total {
				c = c.plus(s.c.times(s.weight))
				w += s.weight
			}
			sum += s.weight
		}
		return c.times(1 / math.Max(w, 1e-12))
	}
	cool, warm := mean(0, 0.1), mean(0.9, 1)
	kc, _ := colour.CCT(cool.xy())
	kw, _ := colour.CCT(warm.xy())
	if 1e6/kw-1e6/kc < oneLight {
		one := mean(0, 1)
		return one, chroma{}, plausible(one)
	}
	// The main light is the end nearer to more of the view.
	mid, below := -(1e6/kw+1e6/kc)/2, 0.0
	for _, s := range all {
		if s.along > mid {
			below += s.weight
		}
	}
	coolPart, warmPart := mean(0, below/total), mean(below/total, 1)
	base = plausible(coolPart.plus(warmPart.minus(coolPart).times(ramp(1-below/total, 0.3, 0.7))))
	if below > total/2 {
		return coolPart, warm, base
	}
	return warmPart, cool, base
}

// warmestBase is the colour temperature in K of the warmest light that counts as white: a
// dimmed filament. Eyes do not adapt wholly to warmer ones, and by a candle (1900 K)
// nothing looks white: the room keeps a trace of what lies beyond. Common practice, no
// source.
const warmestBase = 2600

// plausible is the base c, but no warmer than that.
func plausible(c chroma) chroma {
	if k, duv := colour.CCT(c.xy()); k > 0 && k < warmestBase {
		return chromaOf(colour.Light(warmestBase, duv))
	}
	return c
}

// cooler is the light 20 mired cooler than c, at the same distance from the
// locus.
func cooler(c chroma) colour.XY {
	k, d := colour.CCT(c.xy())
	return colour.Light(1e6/math.Max(10, 1e6/k-20), d)
}
