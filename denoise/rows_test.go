package denoise

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The transform is orthonormal: its inverse undoes it and energy stays.
func TestCosines(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	var b [64]float32
	var before, after float64
	for i := range b {
		b[i] = float32(r.NormFloat64())
		before += float64(b[i]) * float64(b[i])
	}
	was := b
	forward(&b)
	for _, v := range b {
		after += float64(v) * float64(v)
	}
	if math.Abs(after/before-1) > 1e-5 {
		t.Errorf("energy %g became %g", before, after)
	}
	// The definition, for one coefficient off the diagonal.
	want := 0.0
	for y := range 8 {
		for x := range 8 {
			want += 0.25 * float64(was[8*y+x]) * math.Cos(float64(2*y+1)*3*math.Pi/16) * math.Cos(float64(2*x+1)*5*math.Pi/16)
		}
	}
	if math.Abs(want-float64(b[8*3+5])) > 1e-5 {
		t.Errorf("coefficient (3, 5) is %g, want %g", b[8*3+5], want)
	}
	backward(&b)
	for i := range b {
		if math.Abs(float64(b[i]-was[i])) > 1e-5 {
			t.Fatalf("sample %d is %g, was %g", i, b[i], was[i])
		}
	}
}

// The fast row gives what the Go row gives.
func TestFastRow(t *testing.T) {
	if !fast {
		t.Skip("no fast rows on this processor")
	}
	r := rand.New(rand.NewPCG(2, 2))
	var limit [64]float32
	for j := range 8 {
		for i := range j + 1 {
			limit[8*j+i] = float32(r.Float64() * 8)
			limit[8*i+j] = limit[8*j+i]
		}
	}
	limit[0] = 0
	const n = 33
	in := make([]float32, 8*padded)
	for i := range in {
		in[i] = float32(50 + 3*r.NormFloat64() + 20*math.Sin(float64(i%padded)/9))
	}
	s1, w1 := make([]float32, len(in)), make([]float32, len(in))
	s2, w2 := make([]float32, len(in)), make([]float32, len(in))
	for range 2 { // the second time on what is there
		fastShrinkRow(s1, w1, in, n, &limit)
		shrinkRowGo(s2, w2, in, n, &limit)
	}
	for i := range s1 {
		if math.Abs(float64(s1[i]-s2[i])) > 2e-4*(1+math.Abs(float64(s2[i]))) || math.Abs(float64(w1[i]-w2[i])) > 2e-4*float64(w2[i]) {
			t.Fatalf("sample %d: %g weighing %g, want %g weighing %g", i, s1[i], w1[i], s2[i], w2[i])
		}
	}
}

func BenchmarkShrink(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 3))
	var s sheet
	var limit limits
	for i := range s.in {
		s.in[i] = float32(50 + r.NormFloat64())
	}
	for i := 1; i < 64; i++ {
		limit[0][i] = 4
	}
	keep := s.in
	b.SetBytes(4 * side * side)
	for b.Loop() {
		s.in = keep
		s.shrink(side, side, &limit, nil)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(side*side), "ns/px")
}
