package raster

import (
	"math/rand/v2"
	"testing"
)

// slowly has a test run with the Go rows.
func slowly(t *testing.T, run func()) {
	t.Helper()
	was := fast
	fast = false
	defer func() { fast = was }()
	run()
}

func random(r *rand.Rand, n int) []float32 {
	v := make([]float32, n)
	for i := range v {
		v[i] = r.Float32()*2 - 0.5
	}
	return v
}

func equal(t *testing.T, what string, n int, got, want []float32) {
	t.Helper()
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("%s of %d: sample %d is %g, the Go row's %g", what, n, i, got[i], want[i])
		}
	}
}

// The fast rows give what the Go rows give, to the last bit, at every length.
func TestFastRows(t *testing.T) {
	if !fast {
		t.Skip("no fast rows on this processor")
	}
	r := rand.New(rand.NewPCG(1, 9))
	for n := range 150 {
		in := [5][]float32{}
		for i := range in {
			in[i] = random(r, n+i%2) // rows may be longer than what is made of them
		}
		long := random(r, 2*n+5)
		for _, c := range []struct {
			what string
			run  func(dst []float32)
		}{
			{"weigh", func(dst []float32) { weigh(dst[:n], in[:], []float32{.1, -.2, .7, .3, .1}) }},
			{"mean5", func(dst []float32) { mean5(dst[:n], in[0], in[1], in[2], in[3], in[4]) }},
			{"mean3", func(dst []float32) { mean3(dst[:n], in[0], in[1], in[2]) }},
			{"mean2", func(dst []float32) { mean2(dst[:n], in[0], in[1]) }},
			{"halve", func(dst []float32) { halveInner(dst[:n], long[:2*n+3]) }},
			{"double", func(dst []float32) { doubleInner(dst[:2*n], long[:n+2]) }},
			{"slide", func(dst []float32) {
				copy(dst[n:], in[2])
				slide(dst[:n], dst[n:2*n], in[0], in[1], .3)
			}},
		} {
			got, want := make([]float32, 2*n+2), make([]float32, 2*n+2)
			c.run(got)
			slowly(t, func() { c.run(want) })
			equal(t, c.what, n, got, want)
		}
	}
}

// bench runs an operation with the fast rows and with the Go rows on 24 megapixels.
func bench(b *testing.B, op func(p, q *Plane)) {
	p, q := noise(6000, 4000), New(6000, 4000)
	was := fast
	defer func() { fast = was }()
	for _, c := range []struct {
		name string
		fast bool
	}{{"fast", was}, {"Go", false}} {
		b.Run(c.name, func(b *testing.B) {
			fast = c.fast
			b.SetBytes(4 * 24e6)
			for b.Loop() {
				op(p, q)
			}
		})
	}
}

func must(b *testing.B, err error) {
	if err != nil {
		b.Fatal(err)
	}
}

func BenchmarkHalve(b *testing.B) {
	bench(b, func(p, q *Plane) {
		h, err := Halve(ctx, p)
		must(b, err)
		Put(h)
	})
}

func BenchmarkDouble(b *testing.B) {
	half, err := Halve(ctx, New(6000, 4000))
	must(b, err)
	bench(b, func(p, q *Plane) {
		d, err := Double(ctx, half, 6000, 4000)
		must(b, err)
		Put(d)
	})
}

func BenchmarkBox(b *testing.B)   { bench(b, func(p, q *Plane) { must(b, Box(ctx, q, p, 8)) }) }
func BenchmarkGauss(b *testing.B) { bench(b, func(p, q *Plane) { must(b, Gauss(ctx, q, p, 1.2)) }) }

func BenchmarkShrink(b *testing.B) {
	bench(b, func(p, q *Plane) {
		s, err := Shrink(ctx, p, 1800, 1200)
		must(b, err)
		Put(s)
	})
}
