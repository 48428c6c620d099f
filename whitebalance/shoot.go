package whitebalance

import (
	"math"
	"slices"

	"mullion/colour"
)

// Shoot is what the views of one room agree on: the range of light that falls in
// it. Given as [Prior.Shoot] it keeps a view that shows little white from finding
// a light that none of its neighbours has seen.
type Shoot struct {
	Warm, Cool float64 // correlated colour temperature in K of the two ends
	Duv        float64 // of the main lights
}

// Agree returns what the views of one room have in common: the medians of their
// warmest and coolest lights. Views of no confidence are left out; with fewer
// than two others it returns nil.
func Agree(views ...*Estimate) *Shoot {
	var warm, cool, duv []float64
	for _, e := range views {
		if e == nil || e.Confidence < 0.2 {
			continue
		}
		a, b := 1e6/e.Kelvin, 1e6/e.Kelvin
		if e.SecondKelvin > 0 {
			b = 1e6 / e.SecondKelvin
		}
		warm, cool, duv = append(warm, max(a, b)), append(cool, min(a, b)), append(duv, e.Duv)
	}
	if len(warm) < 2 {
		return nil
	}
	return &Shoot{Warm: 1e6 / middle(warm), Cool: 1e6 / middle(cool), Duv: middle(duv)}
}

func middle(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

// likely is the prior probability, up to a factor, of the mean light: it lies
// between the ends, give or take 30 mired, and as far from the locus as theirs.
func (s *Shoot) likely(kelvin, duv float64) float64 {
	if s == nil {
		return 1
	}
	m := 1e6 / kelvin
	out := math.Max(0, math.Max(m-1e6/s.Warm, 1e6/s.Cool-m))
	return 0.1 + gauss(out, 30)*gauss(duv-s.Duv, 0.006)
}

// cooler is the light 20 mired cooler than c, at the same distance from the
// locus.
func cooler(c chroma) colour.XY {
	k, d := colour.CCT(c.xy())
	return colour.Light(1e6/math.Max(10, 1e6/k-20), d)
}
