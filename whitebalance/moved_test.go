package whitebalance

import (
	"math"
	"testing"

	"mullion/internal/raster"
)

// A light that goes with the picture is where the picture is: a ramp of light seen in a
// framing shifted by a tenth is that ramp shifted, and stays as at the border beyond it.
func TestMoved(t *testing.T) {
	const w, h = 120, 80
	f := field{w: w, h: h, plane: [2]*raster.Plane{raster.New(w, h), raster.New(w, h)}, guide: make([][3]float32, w*h)}
	for y := range h {
		for x := range w {
			f.plane[0].Row(y)[x], f.plane[1].Row(y)[x] = float32(x), float32(y)
			f.guide[y*w+x] = [3]float32{float32(x), float32(y), 1}
		}
	}
	e := &Estimate{Kelvin: 4000, field: f}
	m := e.Moved(func(x, y float64) (float64, float64) { return x + .1, y - .1 })
	if m.Kelvin != e.Kelvin || e.field.plane[0].Row(3)[5] != 5 {
		t.Error("the light itself was changed")
	}
	for y := range h {
		for x := range w {
			wantX, wantY := min(w-1, float64(x)+.1*w), max(0, float64(y)-.1*h)
			gotX, gotY := m.field.plane[0].Row(y)[x], m.field.plane[1].Row(y)[x]
			if math.Abs(float64(gotX)-wantX) > 1 || math.Abs(float64(gotY)-wantY) > 1 {
				t.Fatalf("at %d, %d the light is that of %g, %g; want %g, %g", x, y, gotX, gotY, wantX, wantY)
			}
			if g := m.field.guide[y*w+x]; g[0] != gotX || g[1] != gotY {
				t.Fatalf("at %d, %d the guide is of %g, %g, the light of %g, %g", x, y, g[0], g[1], gotX, gotY)
			}
		}
	}
}
