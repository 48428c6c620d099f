package finish

import (
	"math"
	"testing"

	"mullion/removal/dust"
	"mullion/shoot"
)

// A spot of the sensor is found in the straightened picture at the place whose way back
// through the map ends on it, whatever level was decided.
func TestSpots(t *testing.T) {
	dir, views := previewShoot(t, .3)
	p := NewPreviews(dir, 1<<30)
	for _, level := range []*shoot.Level{nil, {PitchDeg: 4, RollDeg: -2}} {
		v := views[0]
		v.Decisions.Level = level
		l := p.of(v)
		s, err := p.ready(t.Context(), l, v)
		if err != nil {
			t.Fatal(err)
		}
		l.kept.Around.Dust = []dust.Spot{{X: .31, Y: .2, Radius: .004}, {X: .6, Y: .44, Radius: .01}, {X: .0001, Y: .0001, Radius: .01}}
		spots := s.spots(l.kept)
		if len(spots) < 2 {
			t.Fatalf("level %+v: only %v are seen", level, spots)
		}
		for i, q := range spots[:2] {
			x, y := s.full.Map.At(q.X*float64(s.full.W), q.Y*float64(s.full.H))
			d := l.kept.Around.Dust[i]
			if off := math.Hypot(x-d.X*float64(l.kept.W), y-d.Y*float64(l.kept.W)); off > .2 {
				t.Errorf("level %+v: the spot %d is shown %.2f pixels beside its place", level, i, off)
			}
		}
	}
}
