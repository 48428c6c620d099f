package simcam

import (
	"bytes"
	"math"
	"testing"

	"mullion/internal/raster"
)

// flat is a grey scene of one radiance.
func flat(w, h int, v float32) *raster.RGB {
	m := raster.NewRGB(w, h)
	for _, p := range m {
		p.Fill(v)
	}
	return m
}

// greens returns mean and variance of the green photosites on even rows.
func greens(r *Raw) (mean, variance float64) {
	var s, s2, n float64
	for y := 0; y < r.H; y += 2 {
		for x := 1; x < r.W; x += 2 {
			v := float64(r.Pix[y*r.W+x])
			s, s2, n = s+v, s2+v*v, n+1
		}
	}
	return s / n, s2/n - s/n*s/n
}

// The mean follows the exposure equation and the variance the noise profile plus
// the row noise, from the black level to half of saturation.
func TestMeanAndVariance(t *testing.T) {
	const w, h = 512, 512
	c := LF1()
	c.PRNU, c.Vignette = 0, [2]float64{}
	span := float64(c.White - c.Black)
	for _, iso := range []int{100, 160, 1600} {
		// Fractions of saturation; at ISO 160 the first few lie below 60 electrons.
		for i, x := range []float64{0, 5e-5, 3e-4, 1.2e-3, 2e-3, .05, .5} {
			f := Frame{Shutter: -9, ISO: iso, FNumber: 8, Seed: 7, Number: uint64(i)}
			gain := Gain(f.Shutter.Seconds(), float64(iso), f.FNumber)
			p, err := c.Project(t.Context(), flat(w, h, float32(x/gain)), 1, Move{})
			if err != nil {
				t.Fatal(err)
			}
			r, err := c.Expose(t.Context(), p, f)
			if err != nil {
				t.Fatal(err)
			}
			mean, variance := greens(r)
			sat := c.Saturation(float64(iso))
			x += c.Dark * f.Shutter.Seconds() / sat
			S, O := c.NoiseProfile(float64(iso))
			row := c.RowNoise / sat
			want := (S*x + O + row*row) * span * span
			const n = w * h / 4
			// Five standard errors; the row noise counts only h/2 times.
			tolerance := 5*math.Sqrt(want/n) + 5*row*span/math.Sqrt(h/2)
			near(t, "mean", mean-float64(c.Black), x*span, tolerance)
			near(t, "relative variance", variance/want, 1, .025)
		}
	}
}

// The response non-uniformity is fixed to the body: a mean over many frames
// keeps it, and its size is the stated one.
func TestPRNU(t *testing.T) {
	c := LF1()
	c.Vignette = [2]float64{}
	p, err := c.Project(t.Context(), flat(256, 256, 1), 1, Move{})
	if err != nil {
		t.Fatal(err)
	}
	q, err := c.Project(t.Context(), flat(256, 256, 1), 1, Move{})
	if err != nil {
		t.Fatal(err)
	}
	var s, s2, n float64
	for y := 0; y < p.H; y += 2 {
		a, b := p.light.Row(y), q.light.Row(y)
		for x := 1; x < p.W; x += 2 {
			if a[x] != b[x] {
				t.Fatal("the body's pattern changed")
			}
			v := float64(a[x])
			s, s2, n = s+v, s2+v*v, n+1
		}
	}
	mean := s / n
	near(t, "mean response", mean, 1, 5*c.PRNU/math.Sqrt(n))
	near(t, "deviation", math.Sqrt(s2/n-mean*mean), c.PRNU, .03*c.PRNU)
}

// Mean, variance and third moment of a Poisson variable all equal its mean.
func TestPoisson(t *testing.T) {
	rng := newRowNoise().row(3, 4, 5)
	for _, mean := range []float64{.02, .7, 1, 3.4, 12.25, 59.9} {
		const n = 200000
		var s, s2, s3 float64
		for range n {
			d := float64(poisson(rng, mean)) - mean
			s, s2, s3 = s+d, s2+d*d, s3+d*d*d
		}
		near(t, "mean", s/n, 0, 5*math.Sqrt(mean/n))
		near(t, "variance", s2/n, mean, 5*math.Sqrt((2*mean*mean+mean)/n))
		near(t, "third moment", s3/n, mean, 5*math.Sqrt((15*mean*mean*mean+25*mean*mean+mean)/n))
	}
	if n := poisson(rng, 0); n != 0 {
		t.Errorf("%d electrons without light", n)
	}
}

func TestClipping(t *testing.T) {
	c := LF1()
	p, err := c.Project(t.Context(), flat(64, 64, 1000), 1, Move{})
	if err != nil {
		t.Fatal(err)
	}
	r, err := c.Expose(t.Context(), p, Frame{Shutter: 0, ISO: 100, FNumber: 8})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range r.Pix {
		if v != uint16(c.White) {
			t.Fatalf("an overexposed photosite has %d counts", v)
		}
	}
	if _, err := c.Expose(t.Context(), p, Frame{Shutter: 0}); err == nil {
		t.Error("exposed at ISO 0")
	}
}

// The noise depends on the seed and the number of the frame, and on nothing else.
func TestSeed(t *testing.T) {
	c := LF1()
	p, err := c.Project(t.Context(), room(), 1, Move{})
	if err != nil {
		t.Fatal(err)
	}
	file := func(seed, number uint64) []byte {
		r, err := c.Expose(t.Context(), p, Frame{Shutter: -6, ISO: 160, FNumber: 8, Seed: seed, Number: number, FocalMM: 16})
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := r.WriteDNG(&b, true); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	first := file(1, 1)
	if !bytes.Equal(first, file(1, 1)) {
		t.Error("the same frame came out differently")
	}
	if bytes.Equal(first, file(2, 1)) || bytes.Equal(first, file(1, 2)) {
		t.Error("two frames share their noise")
	}
}
