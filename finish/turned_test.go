package finish

import (
	"math"
	"testing"

	"mullion/plumb"
)

// A place of one picture is found in another of the same frame: both come from one place
// of the sensor.
func TestTurnedFrom(t *testing.T) {
	pose := func(pitch, roll float64) plumb.Geometry {
		p, ok := plumb.Pose{FocalPx: 3000}.Hold(pitch, roll, 0)
		if !ok {
			t.Fatal("the pose is not held")
		}
		return p.Plan(6000, 4000, plumb.PlanOptions{})
	}
	a, b := pose(4, -2), pose(0, 1)
	to := turnedFrom(a, b)
	far := 0.
	for _, x := range []float64{0, .2, .5, .9, 1} {
		for _, y := range []float64{0, .3, .6, 1} {
			bx, by := to(x, y)
			ax, ay := a.Map.At(x*float64(a.W), y*float64(a.H))
			sx, sy := b.Map.At(bx*float64(b.W), by*float64(b.H))
			if d := math.Hypot(ax-sx, ay-sy); d > 0.5 {
				t.Errorf("(%.1f, %.1f) is taken for a place %.2f px beside it", x, y, d)
			}
			far = max(far, math.Hypot(bx-x, by-y))
		}
	}
	if far < 0.02 {
		t.Errorf("the two pictures are the same to %.3f: nothing is tested", far)
	}
}
