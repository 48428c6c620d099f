package tone

import (
	"math"
	"math/rand/v2"
	"testing"
)

// lit is rows of radiance of all sorts with their gains: grey and coloured, black,
// brighter than the screen, and what is no number.
func lit(w int) (rows [5][]float32) {
	r := rand.New(rand.NewPCG(7, uint64(w)))
	for i := range rows {
		rows[i] = make([]float32, w)
	}
	for x := range w {
		grey := math.Exp2(20*r.Float64() - 14)
		for c := range 3 {
			rows[c][x] = float32(grey * (1 + 0.8*r.NormFloat64()*r.Float64()))
		}
		rows[3][x] = float32(0.6*r.NormFloat64() - 0.2)
		rows[4][x] = float32(2 * r.NormFloat64())
		switch r.IntN(40) {
		case 0:
			rows[0][x], rows[1][x], rows[2][x] = 0, 0, 0
		case 1:
			rows[r.IntN(3)][x] = float32(math.NaN())
		case 2:
			rows[r.IntN(3)][x] = float32(math.Inf(1))
		case 3:
			rows[4][x] = -90
		}
	}
	return rows
}

// The fast row gives what the Go row gives, to the last bit, at every width.
func TestFastRow(t *testing.T) {
	if !fast {
		t.Skip("no fast rows on this processor")
	}
	inGamut := 0
	for w := 1; w < 400; w++ {
		got, want := lit(w), lit(w)
		applyRow(got[0], got[1], got[2], got[3], got[4], make([]byte, w/8))
		applyRowGo(want[0], want[1], want[2], want[3], want[4])
		for c := range 3 {
			for x := range w {
				if got[c][x] != want[c][x] {
					in := lit(w)
					t.Fatalf("width %d: of %g %g %g with gains %g %g channel %d is %g, the Go row's %g", w, in[0][x], in[1][x], in[2][x], in[3][x], in[4][x], c, got[c][x], want[c][x])
				}
				if got[c][x] > 0 && got[c][x] < peak {
					inGamut++
				}
			}
		}
	}
	if inGamut < 10000 {
		t.Errorf("only %d samples lie within the gamut; the test sees nothing", inGamut)
	}
}

func BenchmarkApplyRow(b *testing.B) {
	rows := lit(6000)
	for x := range rows[0] { // a room's colours
		for c := range 3 {
			rows[c][x] = 0.2 + 0.01*float32((x*7+c*3)%11)
		}
		rows[3][x], rows[4][x] = -0.2, 0.5
	}
	was := fast
	defer func() { fast = was }()
	for _, c := range []struct {
		name string
		fast bool
	}{{"fast", was}, {"Go", false}} {
		b.Run(c.name, func(b *testing.B) {
			fast = c.fast
			beyond := make([]byte, 6000/8)
			var r, g, bl [6000]float32
			for b.Loop() {
				copy(r[:], rows[0])
				copy(g[:], rows[1])
				copy(bl[:], rows[2])
				applyRow(r[:], g[:], bl[:], rows[3], rows[4], beyond)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/6000, "ns/px")
		})
	}
}
