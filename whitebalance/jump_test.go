package whitebalance

import (
	"math"
	"testing"

	"mullion/internal/raster"
)

// Light taken out for a jump never carries a place past white: a cream place on a
// surface that is blue on the whole stays cream, a faintly blue one ends white.
func TestJumpsStopAtWhite(t *testing.T) {
	along := chroma{-.6, .8} // towards cooler light
	own := []float64{.3, .1, 0, -.2}
	v := &view{w: len(own), h: 1}
	var jump [2][]float32
	f := field{len(own), 1, [2]*raster.Plane{raster.New(len(own), 1), raster.New(len(own), 1)}, nil}
	for k := range 2 {
		for _, a := range own {
			v.c[k] = append(v.c[k], float32(a*along[k]))
			jump[k] = append(jump[k], float32(.2*along[k]))
		}
	}
	v.c[2] = make([]float32, len(own))
	v.addJumps(f, jump, along)
	for i, want := range []float64{.2, .1, 0, 0} {
		got := dotChroma(chroma{float64(f.plane[0].Pix[i]), float64(f.plane[1].Pix[i])}, along)
		if math.Abs(got-want) > 1e-6 {
			t.Errorf("a place %.1f cooler than white: %.3f taken for light, want %.3f", own[i], got, want)
		}
	}
}
