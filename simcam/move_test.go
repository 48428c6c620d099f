package simcam

import (
	"math"
	"testing"

	"mullion/internal/raster"
)

// spot is a scene with one round, smooth spot.
func spot(w, h int, x, y float64) *raster.RGB {
	m := flat(w, h, .01)
	for j := range h {
		for i := range w {
			dx, dy := float64(i)+.5-x, float64(j)+.5-y
			v := float32(2 * math.Exp(-(dx*dx+dy*dy)/(2*3.*3.)))
			for _, p := range m {
				p.Row(j)[i] += v
			}
		}
	}
	return m
}

// centroid of all light above the ground, every photosite at +0.5.
func centroid(p *Projection) (x, y float64) {
	var sx, sy, s float64
	for j := range p.H {
		for i, v := range p.light.Row(j) {
			if d := float64(v) - .05; d > 0 && (i+j)&1 == 1 { // green only
				sx += d * (float64(i) + .5)
				sy += d * (float64(j) + .5)
				s += d
			}
		}
	}
	return sx / s, sy / s
}

// A spot moves to where Apply says, to a hundredth of a pixel.
func TestMoveIsKnown(t *testing.T) {
	c := quiet()
	c.Vignette = [2]float64{}
	const w, h, x, y = 120, 80, 90.3, 25.6
	for _, m := range []Move{{}, {X: .5}, {X: 1.25, Y: -.4}, {Turn: 2}, {X: -3.3, Y: 2.2, Turn: -1.5}} {
		p, err := c.Project(t.Context(), spot(w, h, x, y), 1, m)
		if err != nil {
			t.Fatal(err)
		}
		gx, gy := centroid(p)
		wx, wy := m.Apply(x, y, w, h)
		near(t, "x", gx, wx, .01)
		near(t, "y", gy, wy, .01)
		bx, by := m.undo(wx, wy, w, h)
		near(t, "x undone", bx, x, 1e-9)
		near(t, "y undone", by, y, 1e-9)
	}
	// A camera turned clockwise sees what lies right of the centre move up.
	if _, up := (Move{Turn: 1}).Apply(w, h/2, w, h); up >= h/2 {
		t.Error("Turn goes the wrong way")
	}
}

// Enlarging keeps places (relative to the frame), levels and edges.
func TestScale(t *testing.T) {
	c := quiet()
	c.Vignette = [2]float64{}
	p, err := c.Project(t.Context(), spot(120, 80, 90.3, 25.6), 10./3, Move{})
	if err != nil {
		t.Fatal(err)
	}
	if p.W != 400 || p.H != 266 {
		t.Fatalf("enlarged to %d x %d", p.W, p.H)
	}
	x, y := centroid(p)
	near(t, "x", x/400, 90.3/120, 1e-4)
	near(t, "y", y/266, 25.6/80, 2e-4)

	// A step over thirteen stops neither rings nor leaks.
	src := raster.New(40, 8)
	for y := range 8 {
		row := src.Row(y)
		for x := range row {
			row[x] = .01
			if x >= 20 {
				row[x] = 100
			}
		}
	}
	out, err := resample(t.Context(), src, 130, 26, Move{})
	if err != nil {
		t.Fatal(err)
	}
	row := out.Row(13)
	for x := 1; x < len(row); x++ {
		if row[x] < row[x-1]*(1-1e-5) || row[x] > 100*(1+1e-5) || row[x] < .01*(1-1e-5) {
			t.Fatalf("sample %d of the enlarged step is %v after %v", x, row[x], row[x-1])
		}
	}
	near(t, "dark side", float64(row[130*18/40]), .01, 1e-6)
	near(t, "bright side", float64(row[130*22/40]), 100, 1e-3)

	for _, scale := range []float64{-1, .01, 1e6, math.NaN()} {
		if _, err := c.Project(t.Context(), room(), scale, Move{}); err == nil {
			t.Errorf("a scale of %v was taken", scale)
		}
	}
}

// Without a move or scale nothing is interpolated: moving by whole pixels only
// shifts samples.
func TestWholePixelMove(t *testing.T) {
	src := spot(32, 24, 11.2, 9.4)[1]
	out, err := resample(t.Context(), src, 32, 24, Move{X: 3, Y: -2})
	if err != nil {
		t.Fatal(err)
	}
	for y := range 22 {
		for x := 3; x < 32; x++ {
			near(t, "sample", float64(out.Row(y)[x]/src.Row(y + 2)[x-3]), 1, 1e-5)
		}
	}
}
