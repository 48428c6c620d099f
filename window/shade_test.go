package window

import (
	"math"
	"testing"
)

// A lit shade of cloth, brightest where the lamp is, has upright sides, straight edges and
// stops of light and shade, and in a room that is lit by its like it isn't warm. The same
// outline with a garden in it is a window, and so is a sky over a hedge, no cooler than the
// room, which is the same on both sides.
func TestShadeIsNone(t *testing.T) {
	shade := rect(0.6, 0.68, 0.25, 0.5)
	for _, seam := range []float64{0, 0.8} { // EV
		img := room(900, 600)
		paint(img, shade, func(u, v float64) [3]float64 {
			across, along := (u-0.64)/0.04, (v-0.37)/0.08
			l := 5.5 - 0.4*across*across - 1.2*along*along*min(1, 1/math.Abs(along))
			if math.Abs(u-0.65) < 0.002 {
				l -= seam
			}
			k := math.Exp2(l)
			return [3]float64{k, k, k}
		})
		if m := find(t, img); len(m.Regions) != 0 {
			t.Errorf("a seam of %g EV: %+v", seam, m.Regions)
		}
	}
	hedge := func(u, v float64) [3]float64 {
		k := 60.0
		if v > 0.36 {
			k = 9 + 3*math.Sin(math.Abs(u-0.64)*400)*math.Sin(v*300)
		}
		return [3]float64{k, k, k}
	}
	for what, view := range map[string]func(u, v float64) [3]float64{"a garden": garden, "sky and hedge": hedge} {
		img := room(900, 600)
		paint(img, shade, view)
		m := find(t, img)
		if len(m.Regions) != 1 || math.Abs(m.Share()-0.08*0.25) > 0.003 {
			t.Errorf("%s: %d windows of %.4f, want one of 0.02", what, len(m.Regions), m.Share())
		}
	}
}
