package warp

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A map may shrink one way and not the other: the fast rows must read each
// direction's own weights.
func TestFastRowsOfTwoScales(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for _, c := range [][2]float64{{1, 1.2}, {1.2, 1}, {1, 2.9}, {2.9, 1}, {1.2, 1.9}} {
		all := newKernels()
		kx, ky := all.get(c[0]), all.get(c[1])
		const stride, rows = 90, 70
		block := make([]float32, stride*rows+beyond)
		for i := range block {
			block[i] = 8 * r.Float32()
		}
		places := make([]place, 300)
		for i := range places {
			places[i] = place{int32(r.IntN(rows-ky.n)*stride + r.IntN(stride-kx.n)), uint8(r.IntN(256)), uint8(r.IntN(256))}
		}
		a, b := make([]float32, len(places)), make([]float32, len(places))
		if !fast24(a, block, stride, places, kx, ky) {
			t.Skip("no fast rows on this processor")
		}
		sumN(b, block, stride, places, kx, ky)
		for i := range a {
			if !near(a[i], b[i], 16) {
				t.Fatalf("scales %v, pixel %d: %v, want %v", c, i, a[i], b[i])
			}
		}
	}
}

// A flat picture stays flat under a perspective that shrinks more at the top than at
// the bottom, as straightening makes it.
func TestPerspectiveKeepsFlat(t *testing.T) {
	src := picture(640, 480, func(x, y float64) float64 { return 0.7 })
	m := Map{At: func(x, y float64) (float64, float64) {
		d := 1 + 0.0006*(y-240)
		return 320 + (x-320)/d, 240 + (y-240)/d
	}}
	out, err := Apply(t.Context(), src, m, 640, 480)
	if err != nil {
		t.Fatal(err)
	}
	for c := range out {
		for y := range out.H() {
			for x, v := range out[c].Row(y) {
				if want := src[c].Row(0)[0]; math.Abs(float64(v/want)-1) > 1e-3 {
					t.Fatalf("channel %d at %d,%d: %v of a flat %v", c, x, y, v, want)
				}
			}
		}
	}
}

// The fast extremes of windows are those of the Go rows.
func TestFastExtremes(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	const stride, rows = 90, 70
	block := make([]float32, stride*rows+beyond)
	for i := range block {
		block[i] = float32(r.NormFloat64())
	}
	for _, size := range [][2]int{{2, 2}, {2, 4}, {4, 2}, {4, 4}, {6, 4}, {6, 6}, {8, 8}, {10, 8}} {
		places := make([]place, 300)
		for i := range places {
			places[i] = place{int32(r.IntN(rows-size[1])*stride + r.IntN(stride-size[0])), 0, 0}
		}
		var got, want [2][]float32
		for i := range 2 {
			got[i], want[i] = make([]float32, len(places)), make([]float32, len(places))
		}
		if !fastExtremes(got[0], got[1], block, stride, places, size[0], size[1]) {
			if fast && size[0] <= 8 {
				t.Errorf("no fast rows for a window of %v", size)
			}
			continue // too wide for the fast rows, or none on this processor
		}
		extremes(want[0], want[1], block, stride, places, size[0], size[1])
		for i := range 2 {
			for k := range places {
				if got[i][k] != want[i][k] {
					t.Fatalf("window %v, place %d: %v, want %v", size, k, got[i][k], want[i][k])
				}
			}
		}
	}
}
