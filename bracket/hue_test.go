package bracket

import (
	"math"
	"math/rand/v2"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
)

// sky is a sky in camera colours that grows brighter downwards, from .7 of what clips in
// green to 1.1, far from the camera's neutral, with noise of one hundredth; and the
// same without clipping and noise.
func sky(w, h int) (got, want *raster.RGB) {
	r := rand.New(rand.NewPCG(7, 8))
	got, want = raster.NewRGB(w, h), raster.NewRGB(w, h)
	for c, k := range [3]float32{0.33, 1, 0.79} {
		for y := range h {
			for x := range w {
				v := k * (0.7 + 0.42*float32(y)/float32(h))
				want[c].Row(y)[x] = v
				got[c].Row(y)[x] = min(1, v*(1+0.01*float32(r.NormFloat64())))
			}
		}
	}
	return got, want
}

// Where a sky passes the clipping of one channel it goes on as it was: by its own colour
// and not by the neutral's, and with no more noise than it had.
func TestSkyGoesOn(t *testing.T) {
	const w, h = 1600, 160
	got, want := sky(w, h)
	if err := Whiten(bg, got, 1, colour.Vec3{0.52, 1, 0.465}); err != nil {
		t.Fatal(err)
	}
	for y := range h {
		for c := range got {
			var sum, square float64
			for x, v := range got[c].Row(y) {
				e := float64(v/want[c].Row(y)[x]) - 1
				sum, square = sum+e/w, square+e*e/w
			}
			if math.Abs(sum) > 0.02 {
				t.Errorf("row %d: channel %d is %.3f of itself off", y, c, sum)
			}
			if noise := math.Sqrt(square - sum*sum); noise > 0.0125 {
				t.Errorf("row %d: channel %d has noise of %.4f, 0.01 before", y, c, noise)
			}
		}
	}
}

// A light that clips whole takes the colour of the bright glow around it; one without,
// among dark things or too far from the glow, the neutral's.
func TestHueOfLights(t *testing.T) {
	const n = 640
	neutral := colour.Vec3{0.5, 1, 0.7}
	m := raster.NewRGB(n, n)
	glow := [3]float64{0.8, 0.7, 0.3}
	for y := range n {
		for x := range n {
			far := math.Hypot(float64(x)-80, float64(y)-320)
			for c := range m {
				v := 0.1 * neutral[c]
				if far < 40 {
					v = glow[c]
				}
				if far < 10 || math.Hypot(float64(x)-400, float64(y)-320) < 10 {
					v = 1
				}
				m[c].Row(y)[x] = float32(v)
			}
		}
	}
	if err := Whiten(bg, m, 1, neutral); err != nil {
		t.Fatal(err)
	}
	for x, want := range map[int][3]float64{80: glow, 400: neutral} {
		least := min(want[0], want[1], want[2])
		for c, k := range want {
			if v := float64(m[c].Row(320)[x]); math.Abs(v*least/k-1) > 0.02 {
				t.Errorf("the light at column %d is %.3f in channel %d, want %.3f", x, v, c, k/least)
			}
		}
	}
}
