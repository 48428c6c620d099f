package raster

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"testing"
)

var ctx = context.Background()

func noise(w, h int) *Plane {
	r := rand.New(rand.NewPCG(1, 2))
	p := New(w, h)
	for i := range p.Pix {
		p.Pix[i] = r.Float32()
	}
	return p
}

func TestBandsCoverEveryRowOnce(t *testing.T) {
	for _, h := range []int{0, 1, 31, 32, 33, 1000} {
		seen := make([]atomic.Int32, h)
		if err := Bands(ctx, h, func(y0, y1 int) {
			for y := y0; y < y1; y++ {
				seen[y].Add(1)
			}
		}); err != nil {
			t.Fatal(err)
		}
		for y := range seen {
			if n := seen[y].Load(); n != 1 {
				t.Errorf("h %d: row %d visited %d times", h, y, n)
			}
		}
	}
}

func TestBandsStop(t *testing.T) {
	c, cancel := context.WithCancel(ctx)
	var n atomic.Int32
	err := Bands(c, 32*1000, func(y0, y1 int) { n.Add(1); cancel() })
	if !errors.Is(err, context.Canceled) || n.Load() > 100 {
		t.Errorf("error %v after %d bands; want a stop at once", err, n.Load())
	}
}

func TestPoolForgetsNothingItShould(t *testing.T) {
	for _, n := range []int{1, 1024, 1025, 5000, 1 << 20, 1<<20 + 1} {
		c := class(n)
		if c < n || class(c) != c || (n > 1024 && float64(c) > 1.26*float64(n)) {
			t.Errorf("class(%d) = %d, class of that %d", n, c, class(c))
		}
	}
	p := Get(100, 50)
	Put(p)
	if p.Pix != nil {
		t.Error("a plane given back still holds its pixels")
	}
}

// boxAt is the definition of Box.
func boxAt(p *Plane, x, y, r int) float64 {
	var sum float64
	n := 0
	for j := max(0, y-r); j <= min(p.H-1, y+r); j++ {
		for i := max(0, x-r); i <= min(p.W-1, x+r); i++ {
			sum += float64(p.Pix[j*p.Stride+i])
			n++
		}
	}
	return sum / float64(n)
}

func TestBoxIsTheMean(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {5, 3}, {70, 90}} {
		p := noise(size[0], size[1])
		for _, r := range []int{0, 1, 4, 50} {
			q := New(p.W, p.H)
			if err := Box(ctx, q, p, r); err != nil {
				t.Fatal(err)
			}
			for y := range p.H {
				for x := range p.W {
					if got, want := float64(q.Row(y)[x]), boxAt(p, x, y, r); math.Abs(got-want) > 2e-5 {
						t.Fatalf("%v r %d at %d,%d: %g, want %g", size, r, x, y, got, want)
					}
				}
			}
		}
	}
}

// TestGaussVariance: a blurred impulse has the variance it was asked for.
func TestGaussVariance(t *testing.T) {
	// Below about 0.8 samples a sampled Gaussian is narrower than its continuous
	// twin, so the smallest here is 1.
	for _, sigma := range []float64{1, 3, 11, 20, 40} {
		p := New(401, 401)
		p.Row(200)[200] = 1
		if err := Gauss(ctx, p, p, sigma); err != nil {
			t.Fatal(err)
		}
		var sum, vx, vy float64
		for y := range p.H {
			for x, v := range p.Row(y) {
				sum += float64(v)
				vx += float64(v) * float64((x-200)*(x-200))
				vy += float64(v) * float64((y-200)*(y-200))
			}
		}
		if math.Abs(sum-1) > 1e-3 {
			t.Errorf("sigma %g: sum %g", sigma, sum)
		}
		if got := math.Sqrt(vx / sum); math.Abs(got-sigma) > 0.03*sigma {
			t.Errorf("sigma %g: measured %g across", sigma, got)
		}
		if got := math.Sqrt(vy / sum); math.Abs(got-sigma) > 0.03*sigma {
			t.Errorf("sigma %g: measured %g down", sigma, got)
		}
	}
}

func TestConstantStaysConstant(t *testing.T) {
	p := New(101, 67)
	p.Fill(0.7)
	half, err := Halve(ctx, p)
	if err != nil {
		t.Fatal(err)
	}
	back, _ := Double(ctx, half, 101, 67)
	big, _ := Resize(ctx, p, 150, 31)
	small, _ := Shrink(ctx, p, 13, 150)
	for name, q := range map[string]*Plane{"Halve": half, "Double": back, "Resize": big, "Shrink": small} {
		for y := range q.H {
			for x, v := range q.Row(y) {
				if math.Abs(float64(v)-0.7) > 1e-5 {
					t.Fatalf("%s: %g at %d,%d of a plane of 0.7", name, v, x, y)
				}
			}
		}
	}
}

// TestResizeKeepsPlace: a ramp stays the same ramp in picture coordinates, so
// pixel centres are where they should be.
func TestResizeKeepsPlace(t *testing.T) {
	p := New(200, 100)
	for y := range p.H {
		for x := range p.Row(y) {
			p.Row(y)[x] = (float32(x) + 0.5) / 200
		}
	}
	for name, f := range map[string]func() (*Plane, error){
		"Resize down": func() (*Plane, error) { return Resize(ctx, p, 77, 100) },
		"Resize up":   func() (*Plane, error) { return Resize(ctx, p, 333, 100) },
		"Shrink":      func() (*Plane, error) { return Shrink(ctx, p, 77, 50) },
	} {
		q, err := f()
		if err != nil {
			t.Fatal(err)
		}
		for x := q.W / 10; x < q.W-q.W/10; x++ {
			want := (float64(x) + 0.5) / float64(q.W)
			if got := float64(q.Row(20)[x]); math.Abs(got-want) > 2e-3 {
				t.Fatalf("%s: %g at x %d, want %g", name, got, x, want)
			}
		}
	}
}

func TestLogAndExp(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 200000 {
		x := float32(math.Exp2(r.Float64()*200 - 100))
		if d := math.Abs(float64(Log2(x)) - math.Log2(float64(x))); d > 1e-5 {
			t.Fatalf("Log2(%g) is off by %g", x, d)
		}
		e := float32(r.Float64()*240 - 120)
		want := math.Exp2(float64(e))
		if d := math.Abs(float64(Exp2(e))/want - 1); d > 1e-6 {
			t.Fatalf("Exp2(%g) is off by %g of itself", e, d)
		}
	}
	if Log2(0) != -126 || Log2(-1) != -126 || Exp2(-1000) != Exp2(-126) {
		t.Error("black is not held at the bottom")
	}
}

func BenchmarkResize24MPTo2048(b *testing.B) {
	p := noise(6000, 4000)
	for b.Loop() {
		q, _ := Resize(ctx, p, 2048, 1365)
		Put(q)
	}
}

// Split gives what Halve and Double give, whatever the size.
func TestSplit(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {9, 1}, {2, 2}, {17, 64}, {40, 65}, {33, 130}, {64, 200}, {31, 257}} {
		p := New(size[0], size[1])
		for i := range p.Pix {
			p.Pix[i] = float32(i*7919%1009) / 100
		}
		small, err := Halve(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		up, err := Double(t.Context(), small, p.W, p.H)
		if err != nil {
			t.Fatal(err)
		}
		asked := make([]atomic.Int32, p.H)
		given := func(y int, scratch []float32) []float32 {
			copy(scratch, p.Row(y))
			return scratch
		}
		got, err := Split(t.Context(), p.W, p.H, given, func(y int, row, over []float32) {
			asked[y].Add(1)
			if !slices.Equal(row, p.Row(y)) || !slices.Equal(over, up.Row(y)) {
				t.Errorf("%v: row %d is another", size, y)
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got.Pix, small.Pix) {
			t.Errorf("%v: it is halved to something else", size)
		}
		for y := range asked {
			if n := asked[y].Load(); n != 1 {
				t.Errorf("%v: row %d was given %d times", size, y, n)
			}
		}
	}
}

// Guide is the guided filter, written down as its paper has it.
func TestGuide(t *testing.T) {
	for _, size := range [][2]int{{3, 5}, {40, 150}} {
		g, p := noise(size[0], size[1]), New(size[0], size[1])
		for i, v := range g.Pix {
			p.Pix[i] = 2*v + float32(i%13)/9
		}
		const r, eps = 2, 0.05
		box := func(fn func(i int) float32) *Plane {
			q, m := New(g.W, g.H), New(g.W, g.H)
			for i := range q.Pix {
				q.Pix[i] = fn(i)
			}
			for y := range g.H {
				for x := range g.W {
					m.Row(y)[x] = float32(boxAt(q, x, y, r))
				}
			}
			return m
		}
		mg, mp := box(func(i int) float32 { return g.Pix[i] }), box(func(i int) float32 { return p.Pix[i] })
		gg, gp := box(func(i int) float32 { return g.Pix[i] * g.Pix[i] }), box(func(i int) float32 { return g.Pix[i] * p.Pix[i] })
		k := func(i int) float32 {
			return (gp.Pix[i] - mg.Pix[i]*mp.Pix[i]) / (gg.Pix[i] - mg.Pix[i]*mg.Pix[i] + eps)
		}
		wantA, wantB := box(k), box(func(i int) float32 { return mp.Pix[i] - k(i)*mg.Pix[i] })
		a, b, err := Guide(ctx, g, r, eps, func(y int, _ []float32) []float32 { return p.Row(y) })
		if err != nil {
			t.Fatal(err)
		}
		for i := range a.Pix {
			if math.Abs(float64(a.Pix[i]-wantA.Pix[i])) > 1e-3 || math.Abs(float64(b.Pix[i]-wantB.Pix[i])) > 1e-3 {
				t.Fatalf("%v, sample %d: %g and %g, want %g and %g", size, i, a.Pix[i], b.Pix[i], wantA.Pix[i], wantB.Pix[i])
			}
		}
	}
}
