package denoise

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Bent noise has a standard deviation of 1, and the way back keeps means. The
// laws: shot and read noise; the even relative noise of a bracket; a bracket's stairs,
// where the variance falls by 16 where the next frame takes over.
func TestStabiliser(t *testing.T) {
	laws := map[string]func(float32) float32{
		"one frame": camera{2000, 5}.variance,
		"bracket":   func(v float32) float32 { v = max(0, v); return 1e-4*v*v + 1e-8 },
		"stairs": func(v float32) float32 {
			f := 1 / (1 + math.Exp(-(math.Log2(math.Max(1e-9, float64(v)))+4)*4))
			return float32(1e-7 + math.Max(0, float64(v))*5e-5*(1+15*f))
		},
	}
	r := rand.New(rand.NewPCG(6, 6))
	for name, law := range laws {
		s := newStabiliser(law, 1)
		for _, v := range []float64{0, .001, .003, .01, .05, .2, .7} {
			sd := math.Sqrt(float64(law(float32(v))))
			var sum, sq float64
			const n = 40000
			for range n {
				b := float64(s.at(float32(v + sd*r.NormFloat64())))
				sum += b
				sq += b * b
			}
			m := sum / n
			spread := math.Sqrt(sq/n - m*m)
			low := 0.93
			if v < 3*sd {
				low = 0.8 // the law itself is bent within the noise
			}
			if spread < low || spread > 1.07 {
				t.Errorf("%s at %g: noise of %.3f after bending", name, v, spread)
			}
			back := float64(s.from(float32(m)))
			if e := 4 * sd / math.Sqrt(n); math.Abs(back-v) > max(e, 0.0005*v) {
				t.Errorf("%s at %g: comes back as %g", name, v, back)
			}
		}
	}
}

// Without interpolation noise is white: 1 in every coefficient of the finest scale
// that coarser ones do not take over, a fourth of that every scale further, and nothing
// shared by the channels.
func TestWhiteSpectrum(t *testing.T) {
	s := white(t)
	for l, want := range [scales]float64{1, 1. / 4, 1. / 16, 1. / 64} {
		var v, shared float64
		for j := 4; j < 8; j++ {
			for i := 4; i < 8; i++ {
				v += float64(s.cross[l][8*j+i][1]) / 16
				shared += float64(s.cross[l][8*j+i][3]) / 16
			}
		}
		if math.Abs(v/want-1) > 0.1 || math.Abs(shared/want) > 0.1 {
			t.Errorf("scale %d: variance %.4f, shared %.4f, want %.4f and 0", l, v, shared, want)
		}
	}
	if low := s.cross[0][1][1]; low > 0.2 {
		t.Errorf("the finest scale has %.2f of the coarsest ripple left", low)
	}
}
