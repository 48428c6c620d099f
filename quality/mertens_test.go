package quality

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"mullion/internal/raster"
	"mullion/internal/raster/rastertest"
	"mullion/jpegfile"
)

func testdata(t *testing.T, parts ...string) string {
	t.Helper()
	dir := os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		t.Skip("MULLION_TESTDATA is not set: it names the folder that holds realdata/")
	}
	return filepath.Join(append([]string{dir, "realdata"}, parts...)...)
}

// load reads JPEG by TurboJPEG: whoever made the published results had a decoder that
// interpolates chroma, and the weights look at saturation. Go's own, which repeats
// chroma samples, costs 16 dB.
func load(t *testing.T, path string) *raster.RGB {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if m, err := jpegfile.Decode(b, 0); err == nil {
		out := raster.NewRGB(m.W, m.H)
		for i, v := range m.Pix {
			out[i%3].Pix[i/3] = float32(v) / 255
		}
		return out
	}
	return rastertest.ReadPNG(t, path)
}

func psnr(a, b *raster.RGB) float64 {
	var ss float64
	for c := range a {
		for i, v := range a[c].Pix {
			d := math.Round(float64(v)*255)/255 - float64(b[c].Pix[i])
			ss += d * d
		}
	}
	return -10 * math.Log10(ss/float64(3*len(a[0].Pix)))
}

// psnrStretched fits one straight line from a to b by least squares over what the
// stretch of b has not clipped, and compares there.
func psnrStretched(a, b *raster.RGB) float64 {
	var n, sx, sy, sxx, sxy, ss float64
	both := func(f func(x, y float64)) {
		for c := range a {
			for i, v := range a[c].Pix {
				if y := float64(b[c].Pix[i]); y > 0.02 && y < 0.98 {
					f(float64(v), y)
				}
			}
		}
	}
	both(func(x, y float64) { n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y })
	k := (n*sxy - sx*sy) / (n*sxx - sx*sx)
	o := (sy - k*sx) / n
	both(func(x, y float64) { ss += (k*x + o - y) * (k*x + o - y) })
	return -10 * math.Log10(ss/n)
}

// The recipe against results of others: two pictures of the authors' own, and the
// one that goes with its re-implementation at Image Processing On Line (Hessel,
// IPOL 8, 2018, "ef" without its extension). That one ends in a linear stretch of its
// own, which is fitted.
func TestMertensAgainstPublishedPictures(t *testing.T) {
	for _, c := range []struct {
		want      string
		shots     []string
		least     float64
		stretched bool
	}{
		{"reference/mertens-results/Tower_Mertens07.png", []string{"brackets/mefb512/Tower/under530.png", "brackets/mefb512/Tower/mean530.png", "brackets/mefb512/Tower/over530.png"}, 50, false},
		{"reference/mertens-results/Venice_Mertens07.png", []string{"brackets/mefb512/Venice/venice_under.png", "brackets/mefb512/Venice/venice_normal.png", "brackets/mefb512/Venice/venice_over.png"}, 50, false},
		{"reference/ipol-exposure-fusion/output_ef_expected.png", []string{"reference/ipol-exposure-fusion/grandcanal_under.jpg", "reference/ipol-exposure-fusion/grandcanal_mean.jpg", "reference/ipol-exposure-fusion/grandcanal_over.jpg"}, 50, true},
	} {
		var in []*raster.RGB
		for _, s := range c.shots {
			in = append(in, load(t, testdata(t, s)))
		}
		make := Mertens
		if c.stretched {
			make = fuse
		}
		got, err := make(context.Background(), in)
		if err != nil {
			t.Fatal(err)
		}
		want := load(t, testdata(t, c.want))
		p := psnr(got, want)
		if c.stretched {
			p = psnrStretched(got, want)
		}
		t.Logf("%s: %.1f dB", c.want, p)
		if p < c.least {
			t.Errorf("%s: %.1f dB, want %.0f", c.want, p, c.least)
		}
	}
}

// One exposure alone comes back as it is.
func TestMertensOfOne(t *testing.T) {
	r := scene(90, 71)
	var e raster.RGB
	for c := range e {
		e[c] = each(r, func(v float64) float64 { return min(1, v/(10+float64(c))) })
	}
	got, err := Mertens(context.Background(), []*raster.RGB{&e})
	if err != nil {
		t.Fatal(err)
	}
	if p := psnr(got, &e); p < 55 {
		t.Errorf("%.1f dB", p)
	}
}
