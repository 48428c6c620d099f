package window

import (
	"context"
	"math"
	"testing"

	"mullion/internal/raster"
)

// framed is a room with a window in a white frame: a garden of 0.40 x 0.44 of the
// picture, a reveal in the light of the sky at its right, a sill in the sun that is as
// bright as the view, and two bars that cross. All edges are a pixel soft.
func framed(w, h int) (img *raster.RGB, glass func(u, v float64) bool) {
	const x0, x1, y0, y1 = 0.3, 0.7, 0.2, 0.64
	img = room(w, h)
	lit := func(k float64) func(u, v float64) [3]float64 {
		return func(u, v float64) [3]float64 { return [3]float64{0.95 * k, k, 1.1 * k} }
	}
	box := func(a, b, c, d float64) func(u, v float64) bool {
		return func(u, v float64) bool { return u > a && u < b && v > c && v < d }
	}
	paint(img, box(x0, x1, y0, y1), garden)
	paint(img, box(x1, x1+0.02, y0, y1), lit(10))
	paint(img, box(x0, x1, y1, y1+0.015), lit(45))
	bar := func(u, v float64) bool { return math.Abs(u-0.5) < 0.004 || math.Abs(v-0.42) < 0.006 }
	paint(img, func(u, v float64) bool { return box(x0, x1, y0, y1)(u, v) && bar(u, v) }, lit(1.3))
	soft := raster.NewRGB(w, h)
	for c := range img {
		if err := raster.Gauss(context.Background(), soft[c], img[c], 0.6); err != nil {
			panic(err)
		}
	}
	return soft, func(u, v float64) bool { return box(x0, x1, y0, y1)(u, v) && !bar(u, v) }
}

// The map ends at the edge of the glass, not at that of what is bright: sill, reveal and
// bars are left out, and hardly anything of the view is.
func TestGlassEndsAtTheFrame(t *testing.T) {
	for _, size := range [][2]int{{1200, 800}, {3000, 2000}} {
		img, glass := framed(size[0], size[1])
		m := find(t, img)
		if len(m.Regions) != 1 {
			t.Fatalf("%v: %d windows", size, len(m.Regions))
		}
		var both, found, real float64
		for y := range img.H() {
			for x, c := range m.Coverage.Row(y) {
				found += float64(c)
				if glass((float64(x)+0.5)/float64(img.W()), (float64(y)+0.5)/float64(img.H())) {
					real++
					both += float64(c)
				}
			}
		}
		t.Logf("%v: precision %.4f, recall %.4f", size, both/found, both/real)
		if both/found < 0.985 || both/real < 0.985 {
			t.Errorf("%v: precision %.4f, recall %.4f, want 0.985", size, both/found, both/real)
		}
	}
}

// A lawn along the bottom of the view has a straight edge to what is behind it and is
// smooth, but green: it stays.
func TestLawnIsNoSill(t *testing.T) {
	img := room(1200, 800)
	paint(img, pane, garden)
	lawn := func(u, v float64) bool { return pane(u, v) && v > 0.585 }
	paint(img, lawn, func(u, v float64) [3]float64 { return [3]float64{14, 22, 8} })
	m := find(t, img)
	var sum, n float64
	for y := range 800 {
		for x, c := range m.Coverage.Row(y) {
			if lawn((float64(x)+0.5)/1200, (float64(y)+0.5)/800) {
				sum += float64(c)
				n++
			}
		}
	}
	if sum/n < 0.9 {
		t.Errorf("%.2f of the lawn is left, want 0.9", sum/n)
	}
}

// An edge lies where the picture changes by half, to a twentieth of a sample.
func TestEdgeBetweenSamples(t *testing.T) {
	for _, at := range []float64{39.2, 40, 40.5, 40.9} {
		img := raster.NewRGB(80, 200)
		for y := range 200 {
			edge := at + 0.02*float64(y-100)
			for x := range 80 {
				in := max(0, min(1, float64(x)+1-edge))
				for c := range img {
					img[c].Row(y)[x] = float32(1 + 0.5*in)
				}
			}
		}
		r := sample(img, vec{20, 10}, vec{20, 190}, vec{60, 10}, vec{60, 190}, 1)
		edges := r.edges(10)
		if len(edges) != 1 {
			t.Fatalf("%g: %d edges, want 1", at, len(edges))
		}
		a, b := r.place(r.refine(edges[0]))
		for _, p := range []vec{a, b} {
			if want := at + 0.02*(p.y-0.5-100); math.Abs(p.x-want) > 0.15 {
				t.Errorf("the edge at %.3f is found at %.3f", want, p.x)
			}
		}
	}
}

// A neighbour's white wall under a slanting roof along the bottom of the view is smooth,
// neutral and has a straight edge along the whole side, but is a wedge: it stays.
func TestRoofIsNoSill(t *testing.T) {
	img := room(1200, 800)
	paint(img, pane, garden)
	wall := func(u, v float64) bool { return pane(u, v) && v > 0.59-0.2*(u-0.3) }
	paint(img, wall, func(u, v float64) [3]float64 { return [3]float64{15, 16, 17} })
	m := find(t, img)
	var sum, n float64
	for y := range 800 {
		for x, c := range m.Coverage.Row(y) {
			if wall((float64(x)+0.5)/1200, (float64(y)+0.5)/800) {
				sum += float64(c)
				n++
			}
		}
	}
	if sum/n < 0.9 {
		t.Errorf("%.2f of the wall is left, want 0.9", sum/n)
	}
}

// What makes a strip part of a window's frame: its width goes by how much darker than the
// view it is, and is much the same at both ends; leaves and lawns are none.
func TestSash(t *testing.T) {
	const view, long = 6, 300
	for _, c := range []struct {
		what string
		s    strip
		want bool
	}{
		{"a sash in the sun", strip{level: 6, rough: 0.05, wide: 15, narrow: 12}, true},
		{"a pane", strip{level: 6, rough: 0.05, wide: 60, narrow: 58}, false},
		{"a reveal", strip{level: 3.5, rough: 0.05, wide: 60, narrow: 50}, true},
		{"a roof", strip{level: 6, rough: 0.05, wide: 15, narrow: 2}, false},
		{"a lawn", strip{level: 5, green: 0.8, rough: 0.05, wide: 15, narrow: 12}, false},
		{"leaves", strip{level: 5, green: 0.2, rough: 0.8, wide: 15, narrow: 12}, false},
	} {
		if got := c.s.isSash(view, long, revealPart); got != c.want {
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
	}
}

// Between a reveal in the light of the sky and the garden stands a strip of a neighbour's
// house, boards of about the reveal's own brightness: it is beyond the glass and stays, the
// reveal is left out. Without the house the garden begins at the reveal.
func TestNeighbourIsNoReveal(t *testing.T) {
	const from, glass, to = 0.685, 0.70, 0.715
	for _, boards := range []float64{0, 0.9, 1.15} { // of the reveal
		img := room(1800, 1200)
		paint(img, func(u, v float64) bool { return u > 0.3 && u < glass && v > 0.2 && v < 0.64 }, garden)
		paint(img, func(u, v float64) bool { return boards > 0 && u > from && u < glass && v > 0.2 && v < 0.64 },
			func(u, v float64) [3]float64 {
				k := 10 * boards * (0.9 + 0.5*(v-0.2))
				if math.Mod(v, 0.05) < 0.003 {
					k *= 0.8
				}
				return [3]float64{0.9 * k, k, 1.05 * k}
			})
		paint(img, func(u, v float64) bool { return u > glass && u < to && v > 0.2 && v < 0.64 },
			func(u, v float64) [3]float64 {
				k := 10 * (1 + 2*(u-glass)) // it grows lighter towards the room
				return [3]float64{0.95 * k, k, 1.1 * k}
			})
		soft := raster.NewRGB(1800, 1200)
		for c := range img {
			if err := raster.Gauss(context.Background(), soft[c], img[c], 0.6); err != nil {
				t.Fatal(err)
			}
		}
		m := find(t, soft)
		mean := func(a, b float64) float64 {
			var sum, n float64
			for y := 300; y < 700; y++ {
				for x := int(a * 1800); x < int(b*1800); x++ {
					sum += float64(m.Coverage.Row(y)[x])
					n++
				}
			}
			return sum / n
		}
		if got := mean(from+0.002, glass-0.002); got < 0.9 {
			t.Errorf("boards %g of the reveal: %.2f of what is beside it is left, want 0.9", boards, got)
		}
		if got := mean(glass+0.002, to); got > 0.1 {
			t.Errorf("boards %g of the reveal: %.2f of the reveal is taken for the view, want 0.1", boards, got)
		}
	}
}
