package demosaic

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"mullion/internal/raster"
)

// smooth is a picture without fine detail, which any phase must reproduce.
func smooth(w, h int) *raster.RGB {
	m := raster.NewRGB(w, h)
	for y := range h {
		for x := range w {
			fx, fy := float64(x), float64(y)
			m[0].Row(y)[x] = float32(0.5 + 0.3*math.Sin(fx/23)*math.Cos(fy/31))
			m[1].Row(y)[x] = float32(0.4 + 0.2*math.Cos(fx/19+fy/40))
			m[2].Row(y)[x] = float32(0.3 + 0.2*math.Sin(fy/17))
		}
	}
	return m
}

func TestEveryPhaseAndSize(t *testing.T) {
	for _, cfa := range [][2][2]uint8{{{0, 1}, {1, 2}}, {{1, 0}, {2, 1}}, {{1, 2}, {0, 1}}, {{2, 1}, {1, 0}}} {
		for _, size := range [][2]int{{64, 64}, {65, 97}, {98, 131}, {67, 300}, {5, 4}} {
			want := smooth(size[0], size[1])
			mosaic := mosaicOf(want, cfa)
			got, err := Demosaic(ctx, mosaic, cfa, Flatten{Knee: 0.01})
			if err != nil {
				t.Fatal(err)
			}
			for c := range want {
				for y := range want.H() {
					for x := range want.W() {
						d := math.Abs(float64(got[c].Row(y)[x] - want[c].Row(y)[x]))
						if cfa[y&1][x&1] == uint8(c) && d > 1e-5 {
							t.Fatalf("%v %v: the sample at %d,%d was changed by %g", cfa, size, x, y, d)
						}
						bound := 0.01
						if min(x, y, size[0]-1-x, size[1]-1-y) < 4 {
							bound = 0.05 // beyond the border the picture is mirrored, which breaks slopes
						}
						if size[0] > 60 && d > bound {
							t.Fatalf("%v %v: channel %d at %d,%d is off by %g", cfa, size, c, x, y, d)
						}
					}
				}
			}
		}
	}
}

func TestRefuses(t *testing.T) {
	if _, err := Demosaic(ctx, raster.New(64, 64), [2][2]uint8{{0, 1}, {2, 1}}, Flatten{}); err == nil {
		t.Error("a pattern with its greens in a column was taken")
	}
	if _, err := Demosaic(ctx, raster.New(3, 64), rggb, Flatten{}); err == nil {
		t.Error("three columns were taken")
	}
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := Demosaic(stopped, raster.New(64, 64), rggb, Flatten{}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
}

// TestWindowEdge: a neutral edge of ten stops, slightly blurred and slanted as a
// lens and a window frame make it, stays neutral: red and blue stay within 0.35 EV of
// green on either side of it, where the ratio shows as a coloured fringe. Without
// the flattened domain the same edge gives fringes of several stops.
func TestWindowEdge(t *testing.T) {
	const w, h = 200, 200
	scene := raster.New(w, h)
	for y := range h {
		for x := range w {
			if float64(x)+0.13*float64(y) > 110 {
				scene.Row(y)[x] = 100
			} else {
				scene.Row(y)[x] = 0.1
			}
		}
	}
	if err := raster.Gauss(ctx, scene, scene, 0.8); err != nil {
		t.Fatal(err)
	}
	worst := func(f Flatten) float64 {
		got, err := Demosaic(ctx, mosaicOf(&raster.RGB{scene, scene, scene}, rggb), rggb, f)
		if err != nil {
			t.Fatal(err)
		}
		var worst float64
		for y := 20; y < h-20; y++ {
			for x := 20; x < w-20; x++ {
				g := max(0.01, float64(got[1].Row(y)[x]))
				for _, c := range []int{0, 2} {
					v := max(0.01, float64(got[c].Row(y)[x]))
					worst = max(worst, math.Abs(math.Log2(v/g)))
				}
			}
		}
		return worst
	}
	flat, plain := worst(Flatten{Knee: 0.01}), worst(Flatten{})
	t.Logf("worst fringe %.2f EV flattened, %.2f EV in linear light", flat, plain)
	if flat > 0.35 || plain < 2*flat {
		t.Errorf("fringe of %.2f EV flattened, %.2f EV in linear light", flat, plain)
	}
}

// TestNoiseIsNotRaised: white noise of unit variance on a grey comes out with no
// more than the mosaic's own noise in any channel.
func TestNoiseIsNotRaised(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	m := raster.New(400, 400)
	for i := range m.Pix {
		m.Pix[i] = 10 + 0.1*float32(r.NormFloat64())
	}
	got, err := Demosaic(ctx, m, rggb, Flatten{Knee: 1})
	if err != nil {
		t.Fatal(err)
	}
	for c := range got {
		var sum, sq float64
		for y := 20; y < 380; y++ {
			for _, v := range got[c].Row(y)[20:380] {
				sum += float64(v) - 10
				sq += (float64(v) - 10) * (float64(v) - 10)
			}
		}
		n := 360. * 360
		if sd := math.Sqrt(sq/n - sum*sum/n/n); sd > 0.105 {
			t.Errorf("channel %d: noise of 0.1 became %.4f", c, sd)
		}
		if bias := sum / n; math.Abs(bias) > 0.002 {
			t.Errorf("channel %d: a bias of %.5f", c, bias)
		}
	}
}

func BenchmarkDemosaic24MP(b *testing.B) {
	m := raster.New(6000, 4000)
	r := rand.New(rand.NewPCG(1, 1))
	for i := range m.Pix {
		m.Pix[i] = 1 + r.Float32()
	}
	b.SetBytes(24e6)
	for b.Loop() {
		out, err := Demosaic(ctx, m, rggb, Flatten{Knee: 0.01})
		if err != nil {
			b.Fatal(err)
		}
		raster.PutRGB(out)
	}
}
