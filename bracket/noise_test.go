package bracket

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A mosaic of slow ramps with known shot and read noise and no profile: the noise
// line is measured within 6 %. This is what fixes quietBias.
func TestQuietBias(t *testing.T) {
	const w, h = 1200, 800
	rng := rand.New(rand.NewPCG(5, 6))
	f := flat(w, h, 0, 1)
	m := f.Mosaic
	truth := line{1. / 30000, 25. / 30000 / 30000}
	for y := range h {
		for x := range w {
			v := 0.85 * float64(x) / w * float64(h-y) / h
			v += rng.NormFloat64() * math.Sqrt(truth.at(v))
			m.Pix[y*w+x] = uint16(max(0, math.Round(512+v*15871)))
		}
	}
	got := measureMosaic(m)
	for _, x := range []float64{0.02, 0.1, 0.5, 0.8} {
		r := got.at(x) / truth.at(x)
		t.Logf("at %.2f: variance %.3f of the truth", x, r)
		if r < 0.94 || r > 1.06 {
			t.Errorf("at %.2f: variance %.3f of the truth", x, r)
		}
	}
}

// A frame without dark parts can't tell the noise of black, but must not claim that
// there is none: the darkest tones of the other frames are weighed by it.
func TestBlackNoiseOfBrightFrames(t *testing.T) {
	const w, h = 1200, 800
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(seed, 9))
		m := flat(w, h, 0, 1).Mosaic
		truth := line{1. / 30000, 9. / 30000 / 30000} // 3 electrons
		for y := range h {
			for x := range w {
				v := 0.1 + 0.7*float64(x)/w
				m.Pix[y*w+x] = uint16(math.Round(512 + 15871*(v+rng.NormFloat64()*math.Sqrt(truth.at(v)))))
			}
		}
		if r := math.Sqrt(measureMosaic(m).o / truth.o); r < 0.45 {
			t.Errorf("seed %d: black noise of %.2f times the truth", seed, r)
		}
	}
}
