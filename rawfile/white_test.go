package rawfile

import (
	"math"
	"math/rand/v2"
	"testing"
)

// counts builds a histogram of one colour from a scene in electrons: shot noise,
// then the gain, then clipping at clip counts (0: none) with an optional spread.
func counts(n int, scene func(i int) float64, perElectron, black, clip, clipSpread float64) []uint32 {
	rng := rand.New(rand.NewPCG(3, 4))
	h := make([]uint32, 65536)
	for i := range n {
		e := scene(i)
		e += math.Sqrt(e) * rng.NormFloat64()
		v := black + e*perElectron
		if c := clip + clipSpread*rng.NormFloat64(); clip > 0 && v > c {
			v = c
		}
		h[int(max(0, min(v, 65535)))]++
	}
	return h
}

func TestClippingLevel(t *testing.T) {
	const n, black, white = 400_000, 512., 16383.
	gain := (white - black) / 60000                // counts an electron
	slope := func(top float64) func(int) float64 { // a room up to top electrons
		return func(i int) float64 { return top * math.Pow(float64(i)/n, 3) }
	}
	overcast := func(level float64) func(int) float64 { // a fifth of the frame is one bright flat sky
		return func(i int) float64 {
			if i%5 == 0 {
				return level
			}
			return 20000 * float64(i) / n
		}
	}
	for name, c := range map[string]struct {
		scene        func(int) float64
		clip, spread float64
		want, tol    float64
	}{
		"clips at the nominal level":         {slope(120000), white, 0, white, 0},
		"clips lower, sharply":               {slope(120000), 15200, 0, 15200, 0},
		"clips lower, a little unevenly":     {slope(120000), 15200, 8, 15175, 25},
		"pulled sensitivity clips at half":   {slope(120000), 8200, 0, 8200, 0},
		"unclipped room":                     {slope(40000), 0, 0, white, 0},
		"unclipped flat sky below the top":   {overcast(52000), 0, 0, white, 0},
		"unclipped flat sky at three fifths": {overcast(36000), 0, 0, white, 0},
		"black frame":                        {slope(30), 0, 0, white, 0},
	} {
		h := &histogram{}
		for k := range h {
			h[k] = counts(n, c.scene, gain, black, c.clip, c.spread)
		}
		m := &Mosaic{Black: [2][2]float32{{black, black}, {black, black}}, White: white}
		if got := float64(clippingLevel(h, m)); math.Abs(got-c.want) > c.tol {
			t.Errorf("%s: %v, want %v +- %v", name, got, c.want, c.tol)
		}
	}
}
