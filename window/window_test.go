package window

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"mullion/internal/raster"
)

// A synthetic room: wall at 1 with a slow falloff and 3 % noise.
func room(w, h int) *raster.RGB {
	rng := rand.New(rand.NewPCG(1, 2))
	img := raster.NewRGB(w, h)
	for y := range h {
		for x := range w {
			v := (0.5 + float64(x)/float64(w)) * (1 + 0.03*rng.NormFloat64())
			for c := range img {
				img[c].Row(y)[x] = float32(v)
			}
		}
	}
	return img
}

// paint multiplies the pixels for which inside holds by the colour of at.
func paint(img *raster.RGB, inside func(x, y float64) bool, at func(x, y float64) [3]float64) {
	w, h := img.W(), img.H()
	for y := range h {
		for x := range w {
			u, v := (float64(x)+0.5)/float64(w), (float64(y)+0.5)/float64(h)
			if inside(u, v) {
				for c, k := range at(u, v) {
					img[c].Row(y)[x] = float32(k)
				}
			}
		}
	}
}

func pane(u, v float64) bool { return u > 0.3 && u < 0.5 && v > 0.3 && v < 0.6 }

func garden(u, v float64) [3]float64 {
	k := 30 * math.Exp2(1.5*math.Sin(u*300)*math.Sin(v*200))
	if v < 0.4 {
		k := 1 - u/4 - v/2 // a sky, brighter on one side
		return [3]float64{70 * k, 80 * k, 110 * k}
	}
	return [3]float64{0.7 * k, k, 0.6 * k}
}

func find(t *testing.T, img *raster.RGB) *Map {
	t.Helper()
	m, err := Find(context.Background(), img)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestGardenIsFound(t *testing.T) {
	for _, size := range [][2]int{{300, 200}, {1600, 1066}, {2400, 1600}} {
		img := room(size[0], size[1])
		paint(img, pane, garden)
		m := find(t, img)
		if len(m.Regions) != 1 {
			t.Fatalf("%v: %d windows, want 1", size, len(m.Regions))
		}
		if s := m.Share(); math.Abs(s-0.06) > 0.01 {
			t.Errorf("%v: share %.3f, want 0.06", size, s)
		}
		if r := m.Regions[0]; r.Level < 4 || r.Level > 7 || r.Clipped > 0.05 {
			t.Errorf("%v: level %.2f, clipped %.2f", size, r.Level, r.Clipped)
		}
		at := func(u, v float64) float32 {
			return m.Coverage.Row(int(v * float64(size[1])))[int(u*float64(size[0]))]
		}
		if in, out := at(0.4, 0.35), at(0.8, 0.45); in < 0.95 || out != 0 {
			t.Errorf("%v: coverage %.2f inside, %.2f on the wall", size, in, out)
		}
	}
}

func TestClippedWindow(t *testing.T) {
	img := room(900, 600)
	paint(img, pane, func(u, v float64) [3]float64 { return [3]float64{16, 16, 16} })
	m := find(t, img)
	if len(m.Regions) != 1 || m.Regions[0].Clipped < 0.9 {
		t.Fatalf("a blown window: %+v", m.Regions)
	}
}

func TestWallOfGlass(t *testing.T) {
	img := room(900, 600)
	paint(img, func(u, v float64) bool { return u > 0.15 && u < 0.85 && v > 0.1 && v < 0.8 }, garden)
	if s := find(t, img).Share(); math.Abs(s-0.49) > 0.05 {
		t.Errorf("share %.3f, want 0.49", s)
	}
}

func TestNoWindow(t *testing.T) {
	white := func(k, warm float64) func(u, v float64) [3]float64 {
		return func(u, v float64) [3]float64 { return [3]float64{k * warm, k, k / warm} }
	}
	disc := func(r float64) func(u, v float64) bool {
		return func(u, v float64) bool { return math.Hypot(u-0.4, (v-0.3)*2/3) < r }
	}
	cases := map[string]func(*raster.RGB){
		"empty room":    func(*raster.RGB) {},
		"lamp shade":    func(m *raster.RGB) { paint(m, pane, white(30, 1.5)) },
		"globe":         func(m *raster.RGB) { paint(m, disc(0.03), white(60, 1)) },
		"sun on floor":  func(m *raster.RGB) { paint(m, slanted, white(12, 1.05)) },
		"glow on wall":  func(m *raster.RGB) { glow(m) },
		"black windows": func(m *raster.RGB) { paint(m, pane, white(0.002, 1)) },
	}
	for name, change := range cases {
		img := room(900, 600)
		change(img)
		if m := find(t, img); len(m.Regions) != 0 {
			t.Errorf("%s: taken for a window: %+v", name, m.Regions)
		}
	}
}

func slanted(u, v float64) bool {
	s := u - 0.3 - 0.8*(v-0.7)
	return v > 0.7 && v < 0.8 && s > 0 && s < 0.15
}

func glow(img *raster.RGB) {
	for y := range img.H() {
		for x := range img.W() {
			d := math.Hypot(float64(x)/float64(img.W())-0.5, float64(y)/float64(img.H())-0.3)
			for c := range img {
				img[c].Row(y)[x] *= float32(1 + 20*math.Exp(-d*d/0.01))
			}
		}
	}
}

func TestBadInput(t *testing.T) {
	if _, err := Find(context.Background(), raster.NewRGB(8, 100)); err != ErrTooSmall {
		t.Errorf("8 pixels wide: %v", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Find(ctx, raster.NewRGB(64, 64)); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
	m := find(t, raster.NewRGB(64, 64)) // all black
	if len(m.Regions) != 0 {
		t.Errorf("black picture: %+v", m.Regions)
	}
}

func BenchmarkFind24MP(b *testing.B) {
	img := room(6000, 4000)
	paint(img, pane, garden)
	b.SetBytes(6000 * 4000 * 4 * 4)
	for b.Loop() {
		m, err := Find(context.Background(), img)
		if err != nil {
			b.Fatal(err)
		}
		raster.Put(m.Coverage)
	}
}

// A low pane above a window, too flat to be believed alone, is part of it; the same
// pane much darker, as a sill in the sun would be, is not.
func TestPaneGoesOn(t *testing.T) {
	for _, c := range []struct {
		level float64 // of the pane, parts of the window's
		share float64
	}{{1, 0.4*0.3 + 0.4*0.03}, {0.15, 0.4 * 0.3}} {
		img := room(900, 600)
		paint(img, func(u, v float64) bool { return u < 0.4 && v > 0.06 && v < 0.36 }, garden)
		paint(img, func(u, v float64) bool { return u < 0.4 && v < 0.03 }, func(u, v float64) [3]float64 {
			return [3]float64{60 * c.level, 68 * c.level, 90 * c.level}
		})
		if s := find(t, img).Share(); math.Abs(s-c.share) > 0.006 {
			t.Errorf("a pane %g as bright as the window: share %.4f, want %.4f", c.level, s, c.share)
		}
	}
}
