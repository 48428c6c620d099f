package whitebalance

import (
	"context"
	"math"
	"testing"

	"mullion/internal/raster"
)

// A narrow white reveal beside the glass, in daylight and brighter than the lamplit room,
// comes out neutral; a blue cushion of the same brightness far from it stays blue.
func TestRevealBesideGlass(t *testing.T) {
	const w, h = 640, 400
	img, glass := raster.NewRGB(w, h), raster.New(w, h)
	in := func(x, y, x0, y0, x1, y1 int) bool { return x >= x0 && x < x1 && y >= y0 && y < y1 }
	for y := range h {
		for x := range w {
			k := 1 + 0.2*float64(x)/w
			c := [3]float64{1.35 * k, k, 0.55 * k} // white wall, lamps
			switch {
			case y > 300:
				c = [3]float64{0.5, 0.28, 0.1} // wooden floor
			case in(x, y, 200, 100, 320, 240):
				c, glass.Row(y)[x] = [3]float64{28, 30, 34}, 1
			case in(x, y, 320, 100, 328, 240), in(x, y, 500, 150, 508, 290):
				c = [3]float64{2.3, 2.5, 2.7} // in daylight
			}
			for p := range img {
				img[p].Row(y)[x] = float32(c[p])
			}
		}
	}
	e, err := Measure(context.Background(), img, glass, Prior{})
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Apply(context.Background(), img, glass); err != nil {
		t.Fatal(err)
	}
	blue := func(x, y int) float64 { return math.Log(float64(img[2].Row(y)[x] / img[1].Row(y)[x])) }
	wall, reveal, cushion := blue(60, 150), blue(324, 170), blue(504, 220)
	t.Logf("ln(B/G): wall %.3f, reveal %.3f, cushion %.3f", wall, reveal, cushion)
	if math.Abs(wall) > 0.1 || math.Abs(reveal) > 0.15 {
		t.Errorf("wall %.3f, reveal %.3f off neutral", wall, reveal)
	}
	if cushion < 0.12 {
		t.Errorf("the cushion has lost its blue: %.3f", cushion)
	}
}
