package plumb

import (
	"math"
	"testing"

	"mullion/lens"
)

// Verticals of a room are drawn through a known camera and lens; the lines that a
// person would draw over them give the camera's pitch and roll back.
func TestDrawn(t *testing.T) {
	bent := lens.New("test", "this test")
	bent.Distortion[2], bent.Distortion[0] = -.06, 1
	for _, c := range []struct {
		pitch, roll float64
		lens        *lens.Profile
	}{{-4, 1.5, nil}, {6, -2, bent}, {0, 0, nil}} {
		const w, h, f = 3000, 2000, 1500.0
		p := Pose{FocalPx: f, Profile: c.lens}
		down := rotation(rad(c.pitch), rad(c.roll), 0)
		see := func(x, y, z float64) (float64, float64) { // room to picture
			cx := down[0].x*x + down[0].y*y + down[0].z*z
			cy := down[1].x*x + down[1].y*y + down[1].z*z
			cz := down[2].x*x + down[2].y*y + down[2].z*z
			half := math.Hypot(w, h) / 2
			px, py := cx/cz*f/c.lens.Focal(), cy/cz*f/c.lens.Focal()
			r := math.Hypot(px, py) / half
			k := c.lens.Distort(r) / r
			return px*k + w/2, py*k + h/2
		}
		edge := func(x, z float64) [4]float64 {
			x1, y1 := see(x, -1.1, z)
			x2, y2 := see(x, 1.2, z)
			return [4]float64{x1, y1, x2, y2}
		}
		pitch, roll, err := p.Drawn(w, h, [][4]float64{edge(-2, 3), edge(2.2, 3.5), edge(.6, 5)})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("pitch %+.3f of %+.1f, roll %+.3f of %+.1f", pitch, c.pitch, roll, c.roll)
		if math.Abs(pitch-c.pitch) > .02 || math.Abs(roll-c.roll) > .02 {
			t.Errorf("pitch %+.3f, want %+.1f; roll %+.3f, want %+.1f", pitch, c.pitch, roll, c.roll)
		}
		// One line: it becomes vertical, whatever else is open.
		pitch, roll, err = p.Drawn(w, h, [][4]float64{edge(-2, 3)})
		if err != nil {
			t.Fatal(err)
		}
		l := edge(-2, 3)
		a, b := p.ray(w, h, l[0], l[1]), p.ray(w, h, l[2], l[3])
		r := rotation(rad(pitch), rad(roll), 0)
		x := func(d [3]float64) float64 { // across the upright picture
			forward := r[0].z*d[0] + r[1].z*d[1] + r[2].z*d[2]
			return (r[0].x*d[0] + r[1].x*d[1] + r[2].x*d[2]) / forward
		}
		if d := math.Abs(x(a) - x(b)); d > 1e-4 {
			t.Errorf("one line leans by %.5f of the focal length", d)
		}
	}
	if _, _, err := (Pose{FocalPx: 1500}).Drawn(3000, 2000, [][4]float64{{10, 1000, 2900, 1010}}); err != ErrDrawn {
		t.Errorf("a line along the floor gives %v", err)
	}
	if _, _, err := (Pose{FocalPx: 1500}).Drawn(3000, 2000, [][4]float64{{10, 10, 12, 12}}); err != ErrDrawn {
		t.Errorf("a dot gives %v", err)
	}
}
