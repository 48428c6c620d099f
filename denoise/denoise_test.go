package denoise

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"mullion/internal/raster"
)

// flat is a picture of patches of one grey level each, from dark to light, with the
// noise of a camera.
func flat(cam camera, levels []float64, w, h int) *raster.RGB {
	m := raster.NewRGB(w, h)
	for c := range m {
		for y := range h {
			for x := range w {
				m[c].Row(y)[x] = float32(levels[x*len(levels)/w])
			}
		}
	}
	return cam.expose(m, 5)
}

func apply(t testing.TB, img *raster.RGB, m Model) Report {
	t.Helper()
	r, err := Apply(context.Background(), img, m)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// What would not be seen is not touched: not a bit changes.
func TestCleanStays(t *testing.T) {
	img := flat(camera{2e6, 4}, []float64{.02, .1, .3, .8}, 512, 200)
	was := img.Clone()
	r := apply(t, img, camera{2e6, 4}.model(white(t)))
	if r.Share != 0 || r.Shown <= 0 || r.Shown > hidden {
		t.Errorf("a clean picture's report is %+v", r)
	}
	for c := range img {
		if !slices.Equal(img[c].Pix, was[c].Pix) {
			t.Errorf("channel %d changed", c)
		}
	}
}

// Only the noisy part is worked; far from it not a bit changes.
func TestOnlyWhereNoisy(t *testing.T) {
	cam := camera{30000, 30}
	img := flat(cam, []float64{.0015, .5, .5, .5}, 1024, 128)
	was := img.Clone()
	r := apply(t, img, cam.model(white(t)))
	if r.Share < 0.2 || r.Share > 0.3 {
		t.Errorf("%.3f of the picture was worked, want about a quarter", r.Share)
	}
	if v, w := variance(img, 40, 200), variance(was, 40, 200); v > 0.1*w {
		t.Errorf("in the dark %.3f of the variance is left", v/w)
	}
	for c := range img {
		for y := range img.H() {
			if !slices.Equal(img[c].Row(y)[320:], was[c].Row(y)[320:]) {
				t.Fatalf("row %d of channel %d changed where it is clean", y, c)
			}
		}
	}
}

// variance over columns x0 to x1, mean of the channels.
func variance(m *raster.RGB, x0, x1 int) (v float64) {
	for c := range m {
		var s, q, n float64
		for y := range m.H() {
			for _, p := range m[c].Row(y)[x0:x1] {
				s += float64(p)
				q += float64(p) * float64(p)
				n++
			}
		}
		v += (q - s*s/n) / n / 3
	}
	return v
}

// Radiance is kept: means of flat parts move by less than 0.2 % or three standard
// errors of the mean, down to a signal that is its own noise.
func TestMeansStay(t *testing.T) {
	levels := []float64{.002, .005, .01, .03, .1, .3, .6}
	for _, cam := range []camera{{1000, 5}, {200, 2}} {
		const w, h = 7 * 160, 512
		img := flat(cam, levels, w, h)
		was := img.Clone()
		apply(t, img, cam.model(white(t)))
		for i, l := range levels {
			x0, x1 := i*160+32, i*160+128
			got, want := mean(img, x0, x1), mean(was, x0, x1)
			tolerance := max(0.002*l, 3*math.Sqrt(float64(cam.variance(float32(l)))/(3*96*h)))
			if math.Abs(got-want) > tolerance {
				t.Errorf("camera %v: mean of level %g went from %g to %g (%.2f %%)", cam, l, want, got, 100*(got/want-1))
			}
			if v := variance(img, x0, x1) / variance(was, x0, x1); v > 0.06 {
				t.Errorf("camera %v: at level %g %.3f of the variance is left", cam, l, v)
			}
		}
	}
}

func mean(m *raster.RGB, x0, x1 int) (s float64) {
	for c := range m {
		for y := range m.H() {
			for _, p := range m[c].Row(y)[x0:x1] {
				s += float64(p)
			}
		}
	}
	return s / float64(3*m.H()*(x1-x0))
}

// A weave of fine threads stays. Its noise of single pixels is 0.1, so that the rows are
// weaves of one and a half and of three quarters of it, root mean square. Kept is the
// share of the weave by correlation with the truth.
func TestTextureStays(t *testing.T) {
	cam := camera{400, 3}
	for _, one := range []struct {
		period, contrast, kept float64
	}{
		{2.5, 0.30, 0.90}, {4, 0.30, 0.90}, {8, 0.30, 0.92}, {24, 0.30, 0.95},
		{2.5, 0.15, 0.60}, {4, 0.15, 0.60}, {8, 0.15, 0.75}, {24, 0.15, 0.88},
	} {
		const w, h = 384, 384
		truth := raster.NewRGB(w, h)
		for y := range h {
			for x := range w {
				v := 0.25 * (1 + one.contrast*math.Sin(2*math.Pi*float64(x)/one.period)*math.Sin(2*math.Pi*float64(y)/one.period/1.2))
				for c := range truth {
					truth[c].Row(y)[x] = float32(v * [3]float64{.9, 1, .7}[c])
				}
			}
		}
		img := cam.expose(truth, 9)
		apply(t, img, cam.model(white(t)))
		var dot, norm float64
		for c := range img {
			m := 0.25 * [3]float64{.9, 1, .7}[c]
			for i, v := range truth[c].Pix {
				d := float64(v) - m
				dot += d * (float64(img[c].Pix[i]) - m)
				norm += d * d
			}
		}
		t.Logf("period %g, contrast %g: %.3f of the texture kept", one.period, one.contrast, dot/norm)
		if dot/norm < one.kept || dot/norm > 1.02 {
			t.Errorf("period %g, contrast %g: %.3f of the texture kept, want %.2f", one.period, one.contrast, dot/norm, one.kept)
		}
	}
}

// The result does not depend on how many cores work, nor on where tiles lie: what
// repeats every 64 pixels still does after denoising.
func TestNoSeams(t *testing.T) {
	const w, h = 768, 200
	cam := camera{300, 3}
	piece := flat(cam, []float64{.05, .2, .1, .02}, 64, h)
	img := raster.NewRGB(w, h)
	for c := range img {
		for y := range h {
			for x := 0; x < w; x += 64 {
				copy(img[c].Row(y)[x:], piece[c].Row(y))
			}
		}
	}
	one := img.Clone()
	apply(t, img, cam.model(white(t)))
	cores := runtime.GOMAXPROCS(1)
	apply(t, one, cam.model(white(t)))
	runtime.GOMAXPROCS(cores)
	for c := range img {
		if !slices.Equal(img[c].Pix, one[c].Pix) {
			t.Fatalf("channel %d differs between one core and %d", c, cores)
		}
		for y := range h {
			row := img[c].Row(y)
			for x := 192; x < w-256; x++ {
				if d := math.Abs(float64(row[x] - row[x+64])); d > 1e-5 {
					t.Fatalf("channel %d, row %d: columns %d and %d, 64 apart, differ by %g", c, y, x, x+64, d)
				}
			}
		}
	}
}

// Odd and tiny pictures are worked to their last pixel.
func TestSizes(t *testing.T) {
	cam := camera{200, 3}
	r := rand.New(rand.NewPCG(4, 4))
	for _, size := range [][2]int{{1, 1}, {3, 5}, {17, 9}, {129, 131}, {257, 127}, {130, 4}} {
		img := flat(cam, []float64{.1}, size[0], size[1])
		was := img.Clone()
		apply(t, img, cam.model(white(t)))
		for range 20 {
			x, y := r.IntN(size[0]), r.IntN(size[1])
			for c := range img {
				v := float64(img[c].Row(y)[x])
				if math.Abs(v-0.1) > 0.08 || math.IsNaN(v) {
					t.Errorf("%v: sample (%d, %d) is %g, was %g, truth 0.1", size, x, y, v, was[c].Row(y)[x])
				}
			}
		}
		if size[0] > 100 && size[1] > 100 {
			if v := variance(img, size[0]-8, size[0]) / variance(was, size[0]-8, size[0]); v > 0.2 {
				t.Errorf("%v: %.2f of the variance is left at the right border", size, v)
			}
		}
	}
}

func TestErrors(t *testing.T) {
	img := flat(camera{100, 3}, []float64{.1}, 40, 40)
	for name, m := range map[string]Model{
		"no model":    {},
		"no spectrum": {Variance: camera{100, 3}.variance, Clip: 1},
		"no noise":    {Variance: func(float32) float32 { return 0 }, Clip: 1, Spectrum: camera{}.model(white(t)).Spectrum},
	} {
		if _, err := Apply(context.Background(), img, m); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	m := camera{100, 3}.model(white(t))
	cancel()
	if _, err := Apply(ctx, img, m); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
}

// Where something moved the noise of one frame stands in a merge's; it goes all the
// same, and only with the scale.
func TestLouder(t *testing.T) {
	const w, h = 512, 256
	merged, alone := camera{20000, 10}, camera{1250, 2.5} // 4 times the noise
	quiet, loud := flat(merged, []float64{.1}, w, h), flat(alone, []float64{.1}, w, h)
	for c := range quiet {
		for y := range h {
			copy(quiet[c].Row(y)[w/2:], loud[c].Row(y)[w/2:])
		}
	}
	m := merged.model(white(t))
	blind := quiet.Clone()
	apply(t, blind, m)
	m.Louder = func(x, y int) float32 {
		if x >= w/2 {
			return 4
		}
		return 1
	}
	was := quiet.Clone()
	apply(t, quiet, m)
	left := variance(quiet, w/2+48, w-16) / variance(was, w/2+48, w-16)
	missed := variance(blind, w/2+48, w-16) / variance(was, w/2+48, w-16)
	if left > 0.06 || missed < 0.3 {
		t.Errorf("%.3f of the loud part's variance is left, %.3f when its scale is not told", left, missed)
	}
	if v := variance(quiet, 16, w/2-48) / variance(was, 16, w/2-48); v > 1.0001 {
		t.Errorf("the quiet part became louder: %.3f", v)
	}
}

// A patch of grain that would not be seen all over is seen by its outline: it is made as
// quiet as what lies around it, which keeps its own to the last bit.
func TestPatch(t *testing.T) {
	const w, h = 512, 256
	merged, alone := camera{80000, 2}, camera{8000, 2}
	img, loud := flat(merged, []float64{.1}, w, h), flat(alone, []float64{.1}, w, h)
	for c := range img {
		for y := range h {
			copy(img[c].Row(y)[w/2:], loud[c].Row(y)[w/2:])
		}
	}
	m := merged.model(white(t))
	was := img.Clone()
	blind := img.Clone()
	if r := apply(t, blind, m); r.Share != 0 {
		t.Fatalf("even grain of this strength is taken out of %.0f %% of the picture", 100*r.Share)
	}
	m.Louder = func(x, y int) float32 {
		if x >= w/2 {
			return float32(math.Sqrt(10))
		}
		return 1
	}
	apply(t, img, m)
	around := variance(was, 16, w/2-48)
	if before, after := variance(was, w/2+48, w-16)/around, variance(img, w/2+48, w-16)/around; before < 8 || after > 2 {
		t.Errorf("the patch has %.1f times the variance of what is around it, had %.1f", after, before)
	}
	for c := range img {
		for y := range h {
			for x := range w/2 - 64 {
				if img[c].Row(y)[x] != was[c].Row(y)[x] {
					t.Fatalf("channel %d at (%d, %d) changed", c, x, y)
				}
			}
		}
	}
}
