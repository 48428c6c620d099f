package tone

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The fast rows give what the Go rows give, at every width, for all that may stand in a
// picture.
func TestFastLaplacian(t *testing.T) {
	if !fast {
		t.Skip("no fast rows on this processor")
	}
	r := rand.New(rand.NewPCG(3, 4))
	row := func(w int) []float32 {
		p := make([]float32, w)
		for x := range p {
			p[x] = float32(3 * r.NormFloat64())
			switch r.IntN(60) {
			case 0:
				p[x] = float32(math.NaN())
			case 1:
				p[x] = float32(math.Inf(1 - 2*r.IntN(2)))
			}
		}
		return p
	}
	same := func(got, want []float32, what string) {
		t.Helper()
		for x := range got {
			if got[x] != want[x] && (got[x] == got[x] || want[x] == want[x]) {
				t.Fatalf("%s, sample %d of %d: %g, the Go row's %g", what, x, len(got), got[x], want[x])
			}
		}
	}
	for w := 1; w < 200; w++ {
		in, base, up := row(w), row(w), row(w)
		got, want := make([]float32, w), make([]float32, w)
		remapRow(got, in, base, 0.7, -0.4)
		remapRowGo(want, in, base, 0.7, -0.4)
		same(got, want, "remapped")
		for ends := range 4 {
			got, want := row(w), make([]float32, w)
			copy(want, got)
			addNear(got, in, base, up, 0.8, 0.5, 1.25, ends&1 > 0, ends&2 > 0)
			addNearGo(want, in, base, up, 0.8, 0.5, 1.25, ends&1 > 0, ends&2 > 0)
			same(got, want, "added")
		}
	}
}

func BenchmarkLaplacianRows(b *testing.B) {
	const w = 1280
	var out, in, base, up [w]float32
	for x := range in {
		in[x], base[x] = float32(x%97)/12-4, float32(x%31)/9
	}
	was := fast
	defer func() { fast = was }()
	for _, c := range []struct {
		name string
		fast bool
	}{{"fast", was}, {"Go", false}} {
		b.Run(c.name, func(b *testing.B) {
			fast = c.fast
			for b.Loop() {
				remapRow(out[:], in[:], base[:], 0.7, -0.4)
				addNear(out[:], in[:], base[:], up[:], 0.8, 0.5, 1.25, false, false)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/w, "ns/px")
		})
	}
}
