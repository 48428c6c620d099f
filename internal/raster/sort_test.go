package raster

import (
	"math/rand/v2"
	"slices"
	"testing"
)

func TestSort(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{0, 1, 100, 5000, 70000} {
		v := make([]float32, n)
		for i := range v {
			v[i] = float32(r.NormFloat64() * 8)
		}
		if n > 10 {
			v[3], v[4], v[5] = 0, -24, 24
		}
		want := slices.Clone(v)
		slices.Sort(want)
		if Sort(v); !slices.Equal(v, want) {
			t.Errorf("%d numbers are not in order", n)
		}
	}
}

func BenchmarkSort(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	master := make([]float32, 1280*853)
	for i := range master {
		master[i] = float32(r.NormFloat64() * 3)
	}
	v := make([]float32, len(master))
	for b.Loop() {
		copy(v, master)
		Sort(v)
	}
}

// What Ranks says is what a sorted list says.
func TestRanks(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for _, n := range []int{1, 2, 50, 20000} {
		v := make([]float32, n)
		for i := range v {
			v[i] = float32(int(200*r.NormFloat64())) / 20 // many alike, some beyond the boxes
		}
		q := NewRanks(v, -12, 12, 16)
		sorted := slices.Clone(v)
		slices.Sort(sorted)
		for range 200 {
			k := r.IntN(n)
			if got := q.At(k); got != sorted[k] {
				t.Fatalf("of %d the number at %d is %g, want %g", n, k, got, sorted[k])
			}
			x := float32(r.IntN(1000)-500) / 20
			if want, _ := slices.BinarySearch(sorted, x); q.Below(x) != want {
				t.Fatalf("of %d there are %d below %g, want %d", n, q.Below(x), x, want)
			}
		}
		q.Release()
	}
}
