package tone

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"mullion/internal/raster"
	"mullion/window"
)

// view is a room with a wall of 1 (3 % noise), a dark floor and a window onto a
// textured garden under a sky, six stops above the wall.
func view(w, h int) *raster.RGB {
	rng := rand.New(rand.NewPCG(3, 4))
	img := raster.NewRGB(w, h)
	for y := range h {
		for x := range w {
			u, v := (float64(x)+0.5)/float64(w), (float64(y)+0.5)/float64(h)
			c := [3]float64{1, 1, 1}
			if v > 0.8 {
				c = [3]float64{0.3, 0.2, 0.12}
			}
			if inPane(u, v) {
				k := 40 * math.Exp2(math.Sin(u*200)*math.Sin(v*130))
				c = [3]float64{0.7 * k, k, 0.5 * k}
				if v < 0.4 {
					k = 1 - u/4 - v/2
					c = [3]float64{100 * k, 120 * k, 160 * k}
				}
			}
			n := 1 + 0.03*rng.NormFloat64()
			for i := range img {
				img[i].Row(y)[x] = float32(c[i] * n)
			}
		}
	}
	return img
}

func inPane(u, v float64) bool { return u > 0.3 && u < 0.6 && v > 0.2 && v < 0.6 }

func renderView(t *testing.T, w, h int, p Params) (*raster.RGB, Report) {
	t.Helper()
	img := view(w, h)
	win, err := window.Find(context.Background(), img)
	if err != nil || len(win.Regions) != 1 {
		t.Fatalf("%d windows, %v", len(win.Regions), err)
	}
	out, rep, err := Render(context.Background(), img, win, p)
	if err != nil {
		t.Fatal(err)
	}
	return out, rep
}

func meanL(img *raster.RGB, inside func(u, v float64) bool) float64 {
	var sum, n float64
	for y := range img.H() {
		for x := range img.W() {
			u, v := (float64(x)+0.5)/float64(img.W()), (float64(y)+0.5)/float64(img.H())
			if inside(u, v) {
				Y := 0.2126*float64(img[0].Row(y)[x]) + 0.7152*float64(img[1].Row(y)[x]) + 0.0722*float64(img[2].Row(y)[x])
				sum += lightness(math.Log2(Y))
				n++
			}
		}
	}
	return sum / n
}

func onWall(u, v float64) bool { return u < 0.25 && v < 0.7 }

// The view lies 5 to 15 L* above the wall (common practice, no source), nothing
// in it is clipped, and the wall beside the frame is as bright as the wall
// elsewhere to 1 L*.
func TestWindow(t *testing.T) {
	out, _ := renderView(t, 1500, 1000, Params{})
	wall := meanL(out, onWall)
	pane := meanL(out, inPane)
	t.Logf("wall L* %.1f, view L* %.1f", wall, pane)
	if pane-wall < 5 || pane-wall > 15 {
		t.Errorf("view %.1f L* above the wall, want 5 to 15", pane-wall)
	}
	for c := range out {
		for _, v := range out[c].Pix {
			if v > peak+1e-6 {
				t.Fatalf("channel at %.4f", v)
			}
		}
	}
	for _, d := range []float64{0.002, 0.004, 0.008, 0.016, 0.03} {
		ring := meanL(out, func(u, v float64) bool {
			return u > 0.6+d && u < 0.6+d*1.5+0.001 && v > 0.25 && v < 0.55
		})
		if math.Abs(ring-wall) > 1 {
			t.Errorf("wall %.3f of the width from the frame: L* %.2f, elsewhere %.2f", d, ring, wall)
		}
	}
}

func TestWindowEV(t *testing.T) {
	a, ra := renderView(t, 750, 500, Params{})
	b, rb := renderView(t, 750, 500, Params{WindowEV: -1})
	if d := rb.WindowEV - ra.WindowEV; math.Abs(d+1) > 1e-6 {
		t.Errorf("window EV changed by %.3f, want -1", d)
	}
	if d := meanL(b, inPane) - meanL(a, inPane); d > -5 {
		t.Errorf("the view changed by %.1f L*, want 5 darker or more", d)
	}
	if d := meanL(b, onWall) - meanL(a, onWall); math.Abs(d) > 0.1 {
		t.Errorf("the wall changed by %.2f L*", d)
	}
}

// A preview and the full picture agree.
func TestPreviewAgrees(t *testing.T) {
	small, _ := renderView(t, 600, 400, Params{})
	big, _ := renderView(t, 2400, 1600, Params{})
	for name, part := range map[string]func(u, v float64) bool{"wall": onWall, "view": inPane} {
		if d := meanL(big, part) - meanL(small, part); math.Abs(d) > 1.5 {
			t.Errorf("%s: full size differs from the preview by %.2f L*", name, d)
		}
	}
}

func TestMatch(t *testing.T) {
	img := flat(200, 200, 1, 0.2)
	own, err := Measure(context.Background(), img, nil)
	if err != nil {
		t.Fatal(err)
	}
	shared := own
	shared.Wall += 0.3
	_, rep := render(t, img, Params{Match: &shared})
	if math.Abs(rep.RoomEV+own.Wall+0.3) > 1e-6 {
		t.Errorf("room EV %.3f, want %.3f", rep.RoomEV, -own.Wall-0.3)
	}
}

func TestMapOfAnotherSize(t *testing.T) {
	win := &window.Map{Coverage: raster.New(10, 10), Regions: []window.Region{{}}}
	if _, _, err := Render(context.Background(), flat(64, 64, 1, 1), win, Params{}); err != ErrSize {
		t.Errorf("got %v", err)
	}
}
