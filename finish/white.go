package finish

import (
	"context"
	"math"

	"mullion/colour"
	"mullion/shoot"
)

func (p *picture) kelvins(d shoot.Decisions) (room, window Kelvins) {
	name := func(measured, decided colour.XY) (k Kelvins) {
		k.Measured, k.MeasuredDuv = colour.CCT(measured)
		k.Kelvin, k.Duv = colour.CCT(decided)
		return k
	}
	r, w := p.whites(d)
	return name(p.roomLight(), r), name(p.light.Window, w)
}

// Warmth is the decision by which a view's light counts as kelvin, with the Duv that
// is in force. glass says which of the two lights.
func (v *Preview) Warmth(glass bool, kelvin float64) shoot.Warmth {
	k := v.Room
	if glass {
		k = v.Window
	}
	kelvin = math.Max(lowestKelvin, math.Min(highest, kelvin))
	return shoot.Warmth{Mired: round(1e6/k.Measured-1e6/kelvin, 2), Duv: round(k.Duv-k.MeasuredDuv, 5)}
}

// White is the decision that makes the place (x, y), in shares of the picture's width
// and height, a neutral grey. ok is false where the place is too dark or too colourful
// to have been meant.
func (p *Previews) White(ctx context.Context, v shoot.View, x, y float64) (w shoot.Warmth, glass, ok bool, err error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return w, false, false, err
	}
	img := s.pic.rgb
	px, py := int(x*float64(img.W())), int(y*float64(img.H()))
	var sum colour.Vec3
	n, cover := 0.0, 0.0
	const r = 4 // a place as large as a fingertip on the screen
	for j := max(0, py-r); j <= min(img.H()-1, py+r); j++ {
		for i := max(0, px-r); i <= min(img.W()-1, px+r); i++ {
			for c := range sum {
				sum[c] += float64(img[c].Row(j)[i])
			}
			if s.outside != nil {
				cover += float64(s.outside.Coverage.Row(j)[i])
			}
			n++
		}
	}
	glass = cover > n/2
	light := s.pic.roomLight()
	if glass {
		light = s.pic.light.Window
	}
	if n == 0 || !(sum[1] > 0) {
		return w, glass, false, nil
	}
	base := white(light)
	for c := range sum {
		sum[c] *= base[c] / n
	}
	k, duv := colour.CCT(colour.Chromaticity(colour.BT2020ToXYZ.Apply(sum)))
	if k < lowestKelvin || k > highest || math.Abs(duv) > 0.03 {
		return w, glass, false, nil
	}
	return warmthTo(light, k, duv), glass, true, nil
}
