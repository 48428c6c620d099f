package tone

import (
	"context"
	"math"
	"testing"

	"mullion/internal/raster"
)

// flat returns a picture of one grey with a patch of another.
func flat(w, h int, wall, patch float32) *raster.RGB {
	img := raster.NewRGB(w, h)
	for c := range img {
		img[c].Fill(wall)
		img[c].Crop(w/4, h/4, w/8, h/8).Fill(patch)
	}
	return img
}

func TestCurve(t *testing.T) {
	for _, c := range []toneCurve{{1}, reach(-9), reach(-20)} {
		testCurve(t, c)
	}
}

func testCurve(t *testing.T, c toneCurve) {
	if got := math.Exp2(c.at(0)); math.Abs(got-decode(wallCode)) > 0.002 {
		t.Errorf("wall at %.4f, want %.4f", got, decode(wallCode))
	}
	for x := -14.0; x < 14; x += 0.01 {
		if s := c.slope(x); s <= 0 || s > 1.5 {
			t.Fatalf("slope %.3f at %.2f EV", s, x)
		}
		if c.at(x) >= 0 {
			t.Fatalf("curve reaches white at %.2f EV", x)
		}
	}
}

func TestLogarithms(t *testing.T) {
	for x := float32(1e-6); x < 1e5; x *= 1.01 {
		if d := math.Abs(float64(log2(x)) - math.Log2(float64(x))); d > 3e-4 {
			t.Fatalf("log2(%g) is off by %g", x, d)
		}
	}
	for x := float32(-40); x < 20; x += 0.013 {
		if d := math.Abs(float64(exp2(x))/math.Exp2(float64(x)) - 1); d > 1e-4 {
			t.Fatalf("exp2(%g) is off by %g", x, d)
		}
	}
}

func render(t testing.TB, img *raster.RGB, p Params) (*raster.RGB, Report) {
	t.Helper()
	out, rep, err := Render(context.Background(), img, nil, p)
	if err != nil {
		t.Fatal(err)
	}
	for c := range out {
		for i, v := range out[c].Pix {
			if !(v >= 0 && v <= 1) {
				t.Fatalf("channel %d, pixel %d: %g is outside 0 to 1", c, i, v)
			}
		}
	}
	return out, rep
}

// The brightness of a wall does not depend on the unit, and neither a black nor
// a white patch on it makes the wall ring.
func TestWallsAreWhite(t *testing.T) {
	for _, unit := range []float32{1e-3, 1, 1e3} {
		for _, patch := range []float32{1e-4, 0.02, 30, 1000} {
			out, _ := render(t, flat(400, 300, unit, unit*patch), Params{})
			lo, hi := float32(2), float32(-1)
			for y := range 300 {
				for x := range 400 {
					if x >= 98 && x < 152 && y >= 73 && y < 114 {
						continue
					}
					v := out[1].Row(y)[x]
					lo, hi = min(lo, v), max(hi, v)
				}
			}
			want := float32(decode(wallCode))
			if lo < want-0.03 || hi > want+0.03 {
				t.Errorf("unit %g, patch %g: wall from %.3f to %.3f, want %.3f", unit, patch, lo, hi, want)
			}
		}
	}
}

func TestRoomEV(t *testing.T) {
	out, rep := render(t, flat(100, 100, 1, 0.1), Params{RoomEV: -1})
	if math.Abs(rep.RoomEV+1) > 0.01 {
		t.Errorf("room EV %.3f, want -1", rep.RoomEV)
	}
	if want := math.Exp2(toneCurve{1}.at(-1)); math.Abs(float64(out[0].At(90, 90))-want) > 0.01 {
		t.Errorf("wall %.3f, want %.3f", out[0].At(90, 90), want)
	}
}

func TestSizesAndBadInput(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {2, 3}, {17, 9}, {300, 200}, {1301, 7}} {
		render(t, flat(size[0], size[1], 0.3, 3), Params{})
	}
	img := flat(64, 64, 1, 1)
	nan := float32(math.NaN())
	img[0].Pix[5], img[1].Pix[6], img[2].Pix[7] = nan, -1, float32(math.Inf(1))
	render(t, img, Params{})
	render(t, raster.NewRGB(64, 64), Params{})
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, _, err := Render(ctx, flat(64, 64, 1, 1), nil, Params{}); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
}

// A colour beyond the gamut keeps its hue in Oklab and its lightness.
func TestGamutKeepsHue(t *testing.T) {
	for _, c := range [][3]float32{{1.4, 0.9, 0.2}, {0.9, -0.1, 0.1}, {-0.05, 0.3, 0.9}, {0.2, 1.2, -0.2}} {
		L, a, b := toOklab(c[0], c[1], c[2])
		r, g, bl := intoGamut(c[0], c[1], c[2])
		L2, a2, b2 := toOklab(r, g, bl)
		turn := math.Abs(math.Remainder(math.Atan2(float64(b2), float64(a2))-math.Atan2(float64(b), float64(a)), 2*math.Pi))
		if turn > 0.02 && math.Hypot(float64(a2), float64(b2)) > 0.01 {
			t.Errorf("%v -> %v %v %v: hue turned by %.3f rad", c, r, g, bl, turn)
		}
		if math.Abs(float64(min(L, maxL)-L2)) > 0.01 {
			t.Errorf("%v: lightness from %.3f to %.3f", c, L, L2)
		}
	}
}

func BenchmarkRender24MP(b *testing.B) {
	img := flat(6000, 4000, 1, 20)
	work := raster.GetRGB(6000, 4000)
	b.SetBytes(6000 * 4000 * 3 * 4)
	for b.Loop() {
		b.StopTimer()
		for c := range img {
			copy(work[c].Pix, img[c].Pix)
		}
		b.StartTimer()
		if _, _, err := Render(context.Background(), work, nil, Params{}); err != nil {
			b.Fatal(err)
		}
	}
}
