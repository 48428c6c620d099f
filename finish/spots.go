package finish

import (
	"mullion/removal/dust"
	"mullion/warp"
)

// Place is a round place of a picture: its middle in shares of the picture's width and
// height, its radius in shares of the width.
type Place struct{ X, Y, R float64 }

// spots is where the picture shows the places of its sensor that were mended of dust;
// those that the crop cut away are left out.
func (s *straight) spots(k *reduced) []Place {
	var out []Place
	w, h := float64(s.full.W), float64(s.full.H)
	for _, d := range k.Around.Dust {
		if x, y, ok := shownAt(s.full.Map, k, d); ok && x >= 0 && y >= 0 && x <= w && y <= h {
			out = append(out, Place{X: x / w, Y: y / h, R: d.Radius * float64(k.W) / w})
		}
	}
	return out
}

// shownAt is the place of the finished picture that shows a spot of the sensor; ok is
// false where none does.
func shownAt(m warp.Map, k *reduced, d dust.Spot) (x, y float64, ok bool) {
	sx, sy := d.X*float64(k.W), d.Y*float64(k.W) // both are shares of the width
	x, y = seenAt(k.Info.Orientation, sx, sy, float64(k.Frame[0]), float64(k.Frame[1]))
	return whence(m, sx, sy, x, y)
}
