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
