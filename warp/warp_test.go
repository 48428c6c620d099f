package warp

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"mullion/internal/raster"
)

var background = context.Background()

func picture(w, h int, f func(x, y float64) float64) *raster.RGB {
	m := raster.NewRGB(w, h)
	for c := range 3 {
		for y := range h {
			for x := range w {
				m[c].Pix[y*w+x] = float32(f(float64(x)+0.5, float64(y)+0.5) * float64(c+1))
			}
		}
	}
	return m
}

func applied(tb testing.TB, src *raster.RGB, m Map, w, h int) *raster.RGB {
	tb.Helper()
	out, err := Apply(background, src, m, w, h)
	if err != nil {
		tb.Fatal(err)
	}
	return out
}

func TestCode(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	var off, back float64
	for range 100000 {
		v := float32(math.Exp2(r.Float64()*40 - 20))
		c := Encode(v)
		off = max(off, math.Abs(float64(c)-math.Log2(float64(v))))
		back = max(back, math.Abs(float64(Decode(c)/v)-1))
	}
	if off > 0.01 || back > 3e-6 {
		t.Errorf("%.4f EV from the logarithm, %.2g from the value", off, back)
	}
	// The slope is continuous at powers of two: 4/3 above, 2/3 of half the step below.
	up, down := float64(Encode(1.001)-Encode(1)), float64(Encode(1)-Encode(0.999))
	if math.Abs(up/down-1) > 0.01 {
		t.Errorf("slopes %g and %g at 1", down, up)
	}
	for _, v := range []float32{0, -1, float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1))} {
		if d := Decode(Encode(v)); math.IsNaN(float64(d)) || math.IsInf(float64(d), 0) {
			t.Errorf("%v becomes %v", v, d)
		}
	}
}

func TestIdentityIsACopy(t *testing.T) {
	src := picture(150, 70, func(x, y float64) float64 { return math.Sin(x*y) - 0.2 })
	out := applied(t, src, Map{At: func(x, y float64) (float64, float64) { return x, y }}, 150, 70)
	for c := range 3 {
		for i, v := range src[c].Pix {
			if out[c].Pix[i] != v {
				t.Fatalf("channel %d sample %d: %v became %v", c, i, v, out[c].Pix[i])
			}
		}
		if &out[c].Pix[0] == &src[c].Pix[0] {
			t.Fatal("the copy shares pixels with its source")
		}
	}
}

// A picture whose finest detail has a period of 4.9 pixels keeps it.
func TestSmoothDetailIsKept(t *testing.T) {
	scene := func(x, y float64) float64 {
		return 1 + 0.2*math.Sin(x*2*math.Pi/5+0.3*y) + 0.15*math.Cos(y*2*math.Pi/7)
	}
	src := picture(300, 200, scene)
	at := func(x, y float64) (float64, float64) { // turn by 3 degrees, shift
		s, c := math.Sincos(3 * math.Pi / 180)
		return 20.3 + c*x - s*y, 15.8 + s*x + c*y
	}
	out := applied(t, src, Map{At: at}, 240, 140)
	var worst, sq float64
	for y := range 140 {
		for x := range 240 {
			sx, sy := at(float64(x)+0.5, float64(y)+0.5)
			e := math.Log2(float64(out[1].Pix[y*out[1].Stride+x]) / 2 / scene(sx, sy))
			worst, sq = max(worst, math.Abs(e)), sq+e*e
		}
	}
	rms := math.Sqrt(sq / 240 / 140)
	t.Logf("RMS %.4f EV, worst %.4f EV", rms, worst)
	if rms > 0.01 || worst > 0.06 {
		t.Errorf("RMS %.4f EV, worst %.4f EV, want 0.01 and 0.06", rms, worst)
	}
}

// A quarter turn moves pixels without touching them.
func TestQuarterTurn(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	src := picture(90, 61, func(x, y float64) float64 { return r.Float64() })
	out := applied(t, src, Map{At: func(x, y float64) (float64, float64) { return y, 61 - x }}, 61, 90)
	for y := range 90 {
		for x := range 61 {
			want := src[2].Pix[(60-x)*90+y]
			if got := out[2].Pix[y*out[2].Stride+x]; math.Abs(float64(got-want)) > 1e-5*math.Abs(float64(want))+1e-6 {
				t.Fatalf("(%d,%d): %v, want %v", x, y, got, want)
			}
		}
	}
}

// A window's edge, 1000 times brighter than the room, blurred as a good lens
// does: no pixel of the room may be darker than the room by a visible step, none
// outside brighter than the sky, and nothing rings beyond three pixels.
func TestWindowEdgeDoesNotRing(t *testing.T) {
	const room, sky = 0.3, 300
	src := picture(200, 120, func(x, y float64) float64 {
		return room + (sky-room)*0.5*(1+math.Erf((x-100.2-0.02*y)/0.55/math.Sqrt2))
	})
	at := func(x, y float64) (float64, float64) { return x + 0.37 + 0.013*y, y + 0.41 - 0.013*x }
	out := applied(t, src, Map{At: at}, 198, 118)
	for y := 5; y < 110; y++ {
		for x := range 198 {
			v := float64(out[0].Pix[y*out[0].Stride+x])
			sx, sy := at(float64(x)+0.5, float64(y)+0.5)
			d := sx - 100.2 - 0.02*sy
			if v < room*math.Exp2(-1.1/12) || v > sky*math.Exp2(1.1/12) {
				t.Fatalf("%.4g at %.2f px from the edge: out of range", v, d)
			}
			if d < -6.5 && math.Abs(v/room-1) > 1e-3 || d > 6.5 && math.Abs(v/sky-1) > 1e-3 {
				t.Fatalf("%.4g at %.2f px from the edge: rings", v, d)
			}
			if d < -3 && math.Abs(math.Log2(v/room)) > 0.25 {
				t.Fatalf("%.4g at %.2f px from the edge: rings by %.2f EV", v, d, math.Log2(v/room))
			}
		}
	}
}

// Shrinking to a third: detail finer than the new pixels turns into its mean
// of light, not into moire.
func TestShrinkDoesNotAlias(t *testing.T) {
	src := picture(600, 420, func(x, y float64) float64 { return math.Exp2(0.5 * math.Sin(x*2*math.Pi/3.7+y)) })
	var mean float64 // of the light
	for i := range 3600 {
		mean += math.Exp2(0.5*math.Sin(float64(i)*2*math.Pi/3600)) / 3600
	}
	out := applied(t, src, Map{At: func(x, y float64) (float64, float64) { return 3*x + 0.2*y, 3 * y }}, 190, 140)
	for y := 2; y < 138; y++ {
		for x := 2; x < 150; x++ {
			if e := math.Log2(float64(out[0].Pix[y*out[0].Stride+x]) / mean); math.Abs(e) > 0.03 {
				t.Fatalf("(%d,%d) is off its mean by %.3f EV", x, y, e)
			}
		}
	}
}

func curved(w, h int, f, k1 float64) func(x, y float64) (float64, float64) {
	cx, cy := float64(w)/2, float64(h)/2
	s, c := math.Sincos(2 * math.Pi / 180)
	return func(x, y float64) (float64, float64) {
		u, v := (x-cx)/f, (y-cy)/f
		u, v = c*u-s*v, s*u+c*v
		z := 1 + 0.05*v
		u, v = u/z, v/z
		k := 1 + k1*(u*u+v*v)
		return cx + f*u*k, cy + f*v*k
	}
}

// The grid's positions, interpolated, against the map itself.
func TestGridAccuracy(t *testing.T) {
	for _, c := range []struct {
		w, h  int
		f, k1 float64
	}{{1800, 1200, 700, -0.055}, {6000, 4000, 2333, -0.055}, {600, 400, 200, 0.1}} {
		at := curved(c.w, c.h, c.f, c.k1)
		g, err := newGrid(background, Map{At: at}, c.w, c.h)
		if err != nil {
			t.Fatal(err)
		}
		xs, ys := make([]float64, c.w), make([]float64, c.w)
		var worst float64
		for y := 0; y < c.h; y += 37 {
			g.row(1, 0, y, xs, ys)
			for x := 0; x < c.w; x += 3 {
				sx, sy := at(float64(x)+0.5, float64(y)+0.5)
				worst = max(worst, math.Hypot(xs[x]-sx, ys[x]-sy))
			}
		}
		t.Logf("%d x %d: step %d, worst %.4f px", c.w, c.h, g.step, worst)
		if worst > 0.02 {
			t.Errorf("%d x %d: %.4f px, want 0.02", c.w, c.h, worst)
		}
	}
}

func TestLateralAndGain(t *testing.T) {
	scene := func(x, y float64) float64 { return 2 + math.Sin(x/9) + math.Cos(y/11)/2 }
	src := picture(200, 150, scene)
	m := Map{
		At: func(x, y float64) (float64, float64) { return x, y },
		Channel: func(c int, x, y float64) (float64, float64) {
			k := 1 + 0.01*float64(c-1)
			return 100 + k*(x-100), 75 + k*(y-75)
		},
		Gain: func(x, y float64) float64 { return 1 + ((x-100)*(x-100)+(y-75)*(y-75))/20000 },
	}
	out := applied(t, src, m, 200, 150)
	for c := range 3 {
		for y := 5; y < 145; y += 7 {
			for x := 5; x < 195; x += 7 {
				sx, sy := m.Channel(c, float64(x)+0.5, float64(y)+0.5)
				want := scene(sx, sy) * float64(c+1) * m.Gain(float64(x)+0.5, float64(y)+0.5)
				if got := float64(out[c].Pix[y*out[c].Stride+x]); math.Abs(got/want-1) > 3e-3 {
					t.Fatalf("channel %d (%d,%d): %.4f, want %.4f", c, x, y, got, want)
				}
			}
		}
	}
}

// Places far outside take the border; nothing panics, nothing is undefined.
func TestOutside(t *testing.T) {
	src := picture(40, 30, func(x, y float64) float64 { return x })
	for _, far := range []float64{-1e5, -50, 50, 1e5} {
		for _, zoom := range []float64{1, 5} {
			out := applied(t, src, Map{At: func(x, y float64) (float64, float64) { return zoom*x + far, zoom*y - far }}, 150, 80)
			for c := range 3 {
				for _, v := range out[c].Pix {
					if !(v >= 0.45*float32(c+1) && v < 42*float32(c+1)) {
						t.Fatalf("far %g zoom %g: value %v", far, zoom, v)
					}
				}
			}
		}
	}
}

func TestErrors(t *testing.T) {
	same := Map{At: func(x, y float64) (float64, float64) { return x, y }}
	if _, err := Apply(background, raster.NewRGB(0, 0), same, 5, 5); err == nil {
		t.Error("an empty picture is no error")
	}
	ctx, stop := context.WithCancel(background)
	stop()
	if _, err := Apply(ctx, raster.NewRGB(50, 50), same, 40, 40); err != context.Canceled {
		t.Errorf("%v, want %v", err, context.Canceled)
	}
}

// Twenty-four megapixels, three planes, through lens, turn and perspective.
func BenchmarkApply24MP(b *testing.B) {
	const w, h = 6000, 4000
	src := picture(w, h, func(x, y float64) float64 { return 1 + math.Mod(x*0.37+y*0.11, 1) })
	m := Map{At: curved(w, h, 2333, -0.055)}
	b.ResetTimer()
	for b.Loop() {
		raster.PutRGB(applied(b, src, m, w, h))
	}
}

func BenchmarkShrink24MPTo3MP(b *testing.B) {
	const w, h = 6000, 4000
	src := picture(w, h, func(x, y float64) float64 { return 1 + math.Mod(x*0.37+y*0.11, 1) })
	m := Map{At: curved(w, h, 2333, -0.055)}.Scaled(w, h, 2048, 1365)
	b.ResetTimer()
	for b.Loop() {
		raster.PutRGB(applied(b, src, m, 2048, 1365))
	}
}

func BenchmarkShrink24MPTo6MP(b *testing.B) {
	const w, h = 6000, 4000
	src := picture(w, h, func(x, y float64) float64 { return 1 + math.Mod(x*0.37+y*0.11, 1) })
	m := Map{At: curved(w, h, 2333, -0.055)}.Scaled(w, h, 3072, 2048)
	b.ResetTimer()
	for b.Loop() {
		raster.PutRGB(applied(b, src, m, 3072, 2048))
	}
}
