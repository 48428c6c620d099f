package window

import (
	"math"
	"testing"
)

func rect(a, b, c, d float64) func(u, v float64) bool {
	return func(u, v float64) bool { return u > a && u < b && v > c && v < d }
}

// A polished floor shows the window again, upside down and two stops darker, below it by
// twice the height of the sill. The window is one, its image none.
func TestMirroredInTheFloor(t *testing.T) {
	img := room(900, 600)
	paint(img, rect(0.3, 0.5, 0.2, 0.5), garden)
	image := rect(0.3, 0.5, 0.62, 0.92) // about a floor that begins at 0.56
	paint(img, image, func(u, v float64) [3]float64 {
		c := garden(u, 1.12-v)
		return [3]float64{c[0] / 4, c[1] / 4, c[2] / 4}
	})
	m := find(t, img)
	if len(m.Regions) != 1 || m.Regions[0].Y1 > 320 {
		t.Errorf("%d windows, want that in the wall: %+v", len(m.Regions), m.Regions)
	}
	// Alone it is none either.
	img = room(900, 600)
	paint(img, image, garden)
	if m := find(t, img); len(m.Regions) != 0 {
		t.Errorf("below the eye's height: %+v", m.Regions)
	}
}

// The lower pane of a door, under a rail, is below the eye's height too, but stands under
// the upper.
func TestLowerPaneOfADoor(t *testing.T) {
	img := room(900, 600)
	paint(img, rect(0.4, 0.56, 0.2, 0.6), garden)
	paint(img, rect(0.4, 0.56, 0.66, 0.86), garden)
	m := find(t, img)
	if s, want := m.Share(), 0.16*0.6; math.Abs(s-want) > 0.008 {
		t.Errorf("share %.4f, want %.4f: %+v", s, want, m.Regions)
	}
}

// Small bright things without straight edges, flowers in the sun, are none; a pane of the
// same size is one.
func TestSmallNeedsEdges(t *testing.T) {
	petals := func(u, v float64) bool {
		x, y := (u-0.6)*3/2, v-0.4
		a := math.Atan2(y, x)
		return math.Hypot(x, y) < 0.045*(1+0.35*math.Sin(5*a)+0.2*math.Cos(11*a))
	}
	img := room(900, 600)
	paint(img, petals, garden)
	if m := find(t, img); len(m.Regions) != 0 {
		t.Errorf("flowers: %+v", m.Regions)
	}
	img = room(900, 600)
	paint(img, rect(0.57, 0.63, 0.36, 0.44), garden)
	if m := find(t, img); len(m.Regions) != 1 {
		t.Errorf("a pane: %d windows, want 1", len(m.Regions))
	}
}
