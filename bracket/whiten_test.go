package bracket

import (
	"math/rand/v2"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
)

// lamps is a picture in camera colours with small and large lights that clip, some of
// them in one channel, some at its borders and where two strips meet.
func lamps(w, h int) *raster.RGB {
	r := rand.New(rand.NewPCG(5, 6))
	m := raster.NewRGB(w, h)
	for c := range m {
		for y := range h {
			for x := range w {
				m[c].Row(y)[x] = 0.2 + 0.1*r.Float32()
			}
		}
	}
	for i := range 40 {
		x0, y0 := r.IntN(w), r.IntN(h)
		switch i % 4 {
		case 0:
			x0 = 0
		case 1:
			y0 = stripRows * (1 + i%3)
		case 2:
			y0 = h - 3
		}
		light := [3]float32{0.8 + r.Float32(), 0.8 + r.Float32(), 0.8 + r.Float32()}
		for y := y0; y < min(h, y0+1+i%9); y++ {
			for x := x0; x < min(w, x0+1+i%13); x++ {
				for c := range m {
					m[c].Row(y)[x] = min(1, light[c])
				}
			}
		}
	}
	return m
}

// A picture mended in strips is the same as one that is mended whole.
func TestWhitenInStrips(t *testing.T) {
	neutral := colour.Vec3{0.5, 1, 0.7}
	n := [3]float32{0.5, 1, 0.7}
	for _, size := range [][2]int{{300, 4*stripRows + 5}, {9, stripRows + 1}, {40, 3}} {
		got := lamps(size[0], size[1])
		want := got.Clone()
		if err := Whiten(bg, got, 1, neutral); err != nil {
			t.Fatal(err)
		}
		whole := raster.New(size[0], size[1])
		for y := range size[1] {
			for x := range size[0] {
				r, g, b := want[0].Row(y)[x], want[1].Row(y)[x], want[2].Row(y)[x]
				least, most := min(r, g, b), max(r, g, b)
				whole.Row(y)[x] = max(clippedness(least, 1), 0.6*clippedness(r+g+b-least-most, 1))
			}
		}
		if err := dilate(bg, whole, spreadBy); err != nil {
			t.Fatal(err)
		}
		if err := raster.Gauss(bg, whole, whole, softenedBy); err != nil {
			t.Fatal(err)
		}
		light, err := newHue(bg, want, 1, n)
		if err != nil {
			t.Fatal(err)
		}
		changed := 0
		before := want.Clone()
		for y := range size[1] {
			whitenRow(want[0].Row(y), want[1].Row(y), want[2].Row(y), whole.Row(y), 1, n, light.along(0, y))
			for c := range got {
				for x, v := range want[c].Row(y) {
					if got[c].Row(y)[x] != v {
						t.Fatalf("%v: channel %d at %d,%d is %g, not %g", size, c, x, y, got[c].Row(y)[x], v)
					}
					if before[c].Row(y)[x] != v {
						changed++
					}
				}
			}
		}
		if changed < 20 {
			t.Errorf("%v: only %d samples were mended; the test sees nothing", size, changed)
		}
	}
}

func BenchmarkWhiten24MP(b *testing.B) {
	m := lamps(6000, 4000)
	for b.Loop() {
		if err := Whiten(bg, m, 1, colour.Vec3{0.5, 1, 0.7}); err != nil {
			b.Fatal(err)
		}
	}
}
