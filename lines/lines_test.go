package lines

import (
	"bufio"
	"context"
	"fmt"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"mullion/internal/raster"
)

func readPGM(tb testing.TB, path string) *raster.Plane {
	tb.Helper()
	f, err := os.Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	r := bufio.NewReader(f)
	var magic string
	var w, h, top int
	if _, err := fmt.Fscan(r, &magic, &w, &h, &top); err != nil || magic != "P2" {
		tb.Fatalf("%s: not a plain PGM: %v", path, err)
	}
	p := raster.New(w, h)
	for i := range p.Pix {
		if _, err := fmt.Fscan(r, &p.Pix[i]); err != nil {
			tb.Fatal(err)
		}
		p.Pix[i] /= float32(top)
	}
	return p
}

func testdata(tb testing.TB, parts ...string) string {
	dir := os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		tb.Skip("set MULLION_TESTDATA to the folder with realdata/ and demo-house/")
	}
	return filepath.Join(append([]string{dir}, parts...)...)
}

// The published result of the authors' own program on their test picture: 700
// segments, 17 899 px in all, the longest 104.68 px (Image Processing On Line 2,
// 2012, data files chairs.pgm and chairs.lsd.txt).
func TestChairs(t *testing.T) {
	p := readPGM(t, testdata(t, "realdata", "lsd", "chairs.pgm"))
	want := readSegments(t, testdata(t, "realdata", "lsd", "chairs.lsd.txt"))
	got, err := Detect(context.Background(), p, Options{Raw: true})
	if err != nil {
		t.Fatal(err)
	}
	var total, longest float64
	for _, s := range got {
		total += s.Length()
		longest = max(longest, s.Length())
	}
	matched := coverage(want, got)
	t.Logf("%d segments, total %.0f px, longest %.2f px; %.1f %% of the published length matched", len(got), total, longest, 100*matched)
	if math.Abs(float64(len(got))-700) > 14 {
		t.Errorf("%d segments, want 700 within 2 %%", len(got))
	}
	if math.Abs(total-17899) > 0.02*17899 {
		t.Errorf("total length %.0f, want 17899 within 2 %%", total)
	}
	// One long edge is found whole here and in two parts there.
	if longest < 103 || longest > 120 {
		t.Errorf("longest %.2f, want 104.68", longest)
	}
	if matched < 0.88 {
		t.Errorf("%.3f of the published length is matched, want 0.88", matched)
	}
}

func readSegments(tb testing.TB, path string) []Segment {
	f, err := os.Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	var out []Segment
	for {
		var s Segment
		var p float64
		if _, err := fmt.Fscan(f, &s.X1, &s.Y1, &s.X2, &s.Y2, &s.Width, &p, &s.Strength); err != nil {
			return out
		}
		// Their pixel centres lie on whole numbers, their bright side on the left.
		s.X1, s.Y1, s.X2, s.Y2 = s.X2+0.5, s.Y2+0.5, s.X1+0.5, s.Y1+0.5
		out = append(out, s)
	}
}

// coverage is the share of the length of want that has a segment of got within
// 1 px and 5 degrees, with the same sense of direction.
func coverage(want, got []Segment) float64 {
	var hit, all float64
	for _, s := range want {
		l := s.Length()
		n := int(l) + 1
		for i := range n {
			f := (float64(i) + 0.5) / float64(n)
			x, y := s.X1+f*(s.X2-s.X1), s.Y1+f*(s.Y2-s.Y1)
			all += l / float64(n)
			for _, g := range got {
				m := g.Length()
				dx, dy := (g.X2-g.X1)/m, (g.Y2-g.Y1)/m
				a, c := (x-g.X1)*dx+(y-g.Y1)*dy, (y-g.Y1)*dx-(x-g.X1)*dy
				if a > -1 && a < m+1 && math.Abs(c) < 1 && (dx*(s.X2-s.X1)+dy*(s.Y2-s.Y1))/l > math.Cos(5*math.Pi/180) {
					hit += l / float64(n)
					break
				}
			}
		}
	}
	return hit / all
}

func noise(w, h int, seed uint64) *raster.Plane {
	r := rand.New(rand.NewPCG(seed, 1))
	p := raster.New(w, h)
	for i := range p.Pix {
		p.Pix[i] = float32(0.5 + 0.2*r.NormFloat64())
	}
	return p
}

// The false-alarm bound: at most one detection in an image of noise, on average
// (Grompone von Gioi et al. 2010).
func TestNoise(t *testing.T) {
	n := 0
	for seed := range uint64(6) {
		s, err := Detect(context.Background(), noise(400, 300, seed), Options{})
		if err != nil {
			t.Fatal(err)
		}
		n += len(s)
	}
	t.Logf("%d detections in 6 images", n)
	if n > 6 {
		t.Errorf("%d detections in 6 images of noise", n)
	}
}

// edge draws the half plane right of the line through (cx, cy), exactly
// area-sampled up to the curvature of a pixel, with noise.
func edge(w, h int, cx, cy, angle, sag, sigma float64, r *rand.Rand) *raster.Plane {
	p := raster.New(w, h)
	dx, dy := math.Cos(angle), math.Sin(angle)
	for y := range h {
		for x := range w {
			sum := 0
			for i := range 64 {
				px := float64(x) + (float64(i%8)+0.5)/8 - cx
				py := float64(y) + (float64(i/8)+0.5)/8 - cy
				s := px*dx + py*dy
				if py*dx-px*dy > sag*(1-4*s*s/1e4) {
					sum++
				}
			}
			p.Pix[y*w+x] = float32(0.35 + 0.3*float64(sum)/64 + sigma*r.NormFloat64())
		}
	}
	return p
}

func TestSubPixelDirection(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	var sq, pull, n float64
	for range 40 {
		a := math.Pi/2 + (r.Float64()-0.5)*0.3
		cx, cy := 60+r.Float64(), 75+r.Float64()
		got, err := Detect(context.Background(), edge(120, 150, cx, cy, a, 0, 0.01, r), Options{MinLength: 100})
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != 1 {
			t.Fatalf("%d segments, want 1", len(got))
		}
		s := got[0]
		l := s.Length()
		dx, dy := (s.X2-s.X1)/l, (s.Y2-s.Y1)/l
		// Sense of direction and side too: bright on the right.
		d := math.Asin(dx*math.Sin(a) - dy*math.Cos(a))
		if dx*math.Cos(a)+dy*math.Sin(a) < 0.9 {
			t.Fatalf("segment points the wrong way: %+v", s)
		}
		off := (s.Y1-cy)*math.Cos(a) - (s.X1-cx)*math.Sin(a)
		if math.Abs(off) > 0.08 {
			t.Errorf("end point is %.3f px off the edge", off)
		}
		sq += d * d
		pull += d * d / (s.Sigma * s.Sigma)
		n++
	}
	rms := math.Sqrt(sq/n) * 180 / math.Pi
	t.Logf("direction error %.4f deg RMS over 150 px; %.2f standard errors", rms, math.Sqrt(pull/n))
	if rms > 0.03 {
		t.Errorf("direction error %.4f deg RMS, want under 0.03", rms)
	}
	if q := math.Sqrt(pull / n); q > 2 {
		t.Errorf("errors are %.1f times what Sigma says", q)
	}
}

func TestBend(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for _, sag := range []float64{-1, 0, 0.6} {
		got, err := Detect(context.Background(), edge(60, 100, 30.3, 50, math.Pi/2+0.03, sag, 0.005, r), Options{MinLength: 80})
		if err != nil || len(got) != 1 {
			t.Fatalf("%d segments, %v", len(got), err)
		}
		l := got[0].Length()
		want := sag * l * l / 1e4
		if math.Abs(got[0].Bend-want) > 0.1 {
			t.Errorf("sagitta %.3f, want %.3f", got[0].Bend, want)
		}
	}
}

func TestCancelAndTiny(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Detect(ctx, noise(64, 64, 1), Options{}); err != context.Canceled {
		t.Errorf("error %v, want %v", err, context.Canceled)
	}
	for _, p := range []*raster.Plane{raster.New(0, 0), raster.New(3, 200), raster.New(64, 64)} {
		if s, err := Detect(context.Background(), p, Options{}); err != nil || len(s) != 0 {
			t.Errorf("%dx%d: %d segments, %v", p.W, p.H, len(s), err)
		}
	}
	p := raster.New(32, 32)
	p.Fill(float32(math.NaN()))
	if s, err := Detect(context.Background(), p, Options{}); err != nil || len(s) != 0 {
		t.Errorf("NaN: %d segments, %v", len(s), err)
	}
}

// room draws a picture with the edge statistics of an interior: boxes in boxes.
func room(w, h int) *raster.Plane {
	r := rand.New(rand.NewPCG(3, 3))
	m := image.NewGray(image.Rect(0, 0, w, h))
	for range 400 {
		x, y := r.IntN(w), r.IntN(h)
		c := color.Gray{uint8(r.IntN(256))}
		rw, rh := 10+r.IntN(w/6), 10+r.IntN(h/6)
		for j := y; j < min(h, y+rh); j++ {
			for i := x; i < min(w, x+rw); i++ {
				m.SetGray(i, j, c)
			}
		}
	}
	p := raster.New(w, h)
	for i, v := range m.Pix {
		p.Pix[i] = float32(v)/255 + float32(0.004*r.NormFloat64())
	}
	return p
}

func BenchmarkDetect(b *testing.B) {
	p := room(1500, 1000)
	b.ResetTimer()
	for b.Loop() {
		if _, err := Detect(context.Background(), p, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
