package removal

import (
	"math/rand/v2"
	"testing"
)

// patches are two planes of random pixels and weights, some of them 0, no larger than
// patches of the stride need.
func patches(r *rand.Rand, stride int) (a, b, weight []float32) {
	n := (side-1)*stride + side
	a, b, weight = make([]float32, n*chans), make([]float32, n*chans), make([]float32, n)
	shift := float32(r.NormFloat64())
	for i := range a {
		a[i] = float32(r.NormFloat64())
		b[i] = a[i] + shift + 0.1*float32(r.NormFloat64())
	}
	for i := range weight {
		if r.IntN(3) > 0 {
			weight[i] = r.Float32()
		}
	}
	return a, b, weight
}

// The fast comparison adds up to the last bit what the Go comparison does, and ends
// at the same row.
func TestFastDiffer(t *testing.T) {
	if !fast {
		t.Skip("no fast comparison on this processor")
	}
	r := rand.New(rand.NewPCG(4, 4))
	for _, stride := range []int{side, side + 1, 64, 257} {
		early := 0
		for range 500 {
			a, b, weight := patches(r, stride)
			_, most, all := differGo(a, b, weight, stride, 1e30)
			for _, limit := range []float32{1e30, most * r.Float32(), 0} {
				s1, q1, n1 := fastDiffer(a, b, weight, stride, limit)
				s2, q2, n2 := differGo(a, b, weight, stride, limit)
				if s1 != s2 || q1 != q2 || n1 != n2 {
					t.Fatalf("stride %d, limit %g: %g %g %g, want %g %g %g", stride, limit, s1, q1, n1, s2, q2, n2)
				}
				if n1 < all {
					early++
				}
			}
		}
		if early < 500 {
			t.Errorf("stride %d: only %d of 1500 comparisons ended early", stride, early)
		}
		a, b, weight := patches(r, stride)
		clear(weight)
		if s, q, n := fastDiffer(a, b, weight, stride, 0); s != 0 || q != 0 || n != 0 {
			t.Errorf("without weights the sums are %g %g %g", s, q, n)
		}
	}
}

// What is compared is what the definition says, in double precision.
func TestDiffer(t *testing.T) {
	const stride = 20
	a, b, weight := patches(rand.New(rand.NewPCG(5, 5)), stride)
	var sum, squares, n float64
	for y := range side {
		for x := range side {
			at := y*stride + x
			w := float64(weight[at])
			n += w
			for c, share := range [chans]float64{1, 1, 1, textureWeight} {
				d := float64(a[at*chans+c]) - float64(b[at*chans+c])
				squares += w * share * d * d
				if c < 3 {
					sum += w * d
				}
			}
		}
	}
	s, q, k := differ(a, b, weight, stride, 1e30)
	for _, v := range [][2]float64{{float64(s), sum}, {float64(q), squares}, {float64(k), n}} {
		if d := v[0] - v[1]; d > 1e-5*squares || d < -1e-5*squares {
			t.Errorf("%g, want %g", v[0], v[1])
		}
	}
}

func BenchmarkDiffer(b *testing.B) {
	p, q, weight := patches(rand.New(rand.NewPCG(6, 6)), 500)
	b.Run("fast", func(b *testing.B) {
		for b.Loop() {
			differ(p, q, weight, 500, 1e30)
		}
	})
	b.Run("go", func(b *testing.B) {
		for b.Loop() {
			differGo(p, q, weight, 500, 1e30)
		}
	})
}
