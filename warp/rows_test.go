package warp

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// near reports whether the fast value is the reference's up to rounding.
func near(a, b, scale float32) bool { return math.Abs(float64(a-b)) <= 3e-6*float64(scale) }

// Every fast row gives what the Go row gives.
func TestFastRows(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	t.Run("encode", func(t *testing.T) {
		nan, inf := float32(math.NaN()), float32(math.Inf(1))
		src := []float32{0, -1, nan, inf, -inf, 1, 2, 4, 1e-35, 1e38, 0.999999, 1.000001, 3, 5, 7, 9, 11}
		for range 500 {
			src = append(src, float32(math.Exp2(60*r.Float64()-30)))
		}
		a, b := make([]float32, len(src)), make([]float32, len(src))
		encodeRow(a, src, 0.01)
		encodeRowGo(b, src, 0.01)
		for i := range a {
			if !near(a[i], b[i], 100) {
				t.Fatalf("%v: %v, want %v", src[i], a[i], b[i])
			}
		}
		for i := range b {
			b[i] = 280*r.Float32() - 140
		}
		copy(a, b)
		decodeRow(a, 0.25)
		decodeRowGo(b, 0.25)
		for i := range a {
			if !near(a[i], b[i], float32(math.Abs(float64(b[i])))+1) {
				t.Fatalf("decoded %v, want %v", a[i], b[i])
			}
		}
	})
	for _, scale := range []float64{1, 1.1, 1.2, 1.9, 2.93, 4} {
		k := newKernels().get(scale)
		const stride, rows = 80, 60
		block := make([]float32, stride*rows+beyond)
		for i := range block {
			block[i] = 8 * r.Float32()
		}
		places := make([]place, 200)
		for i := range places {
			places[i] = place{int32(r.IntN(rows-k.n)*stride + r.IntN(stride-k.n)), uint8(r.IntN(256)), uint8(r.IntN(256))}
		}
		a, b := make([]float32, len(places)), make([]float32, len(places))
		if k.n == 6 {
			row6(a, block, stride, places, k)
			row6Go(b, block, stride, places, k)
		} else {
			if !fast24(a, block, stride, places, k, k) {
				t.Log("no fast rows on this processor")
			}
			if !fast {
				copy(a, b)
			}
			sumN(b, block, stride, places, k, k)
		}
		for i := range a {
			if fast && !near(a[i], b[i], 16) {
				t.Fatalf("scale %g, pixel %d: %v, want %v", scale, i, a[i], b[i])
			}
		}
	}
}

// A lamp of one pixel keeps its light when the picture is made smaller.
func TestShrinkKeepsLight(t *testing.T) {
	for _, scale := range []float64{1.6, 2.93, 5.3} {
		src := picture(600, 600, func(x, y float64) float64 {
			if math.Mod(x, 37) < 1 && math.Mod(y, 41) < 1 {
				return 50
			}
			return 0.5
		})
		n := int(560 / scale)
		out := applied(t, src, Map{At: func(x, y float64) (float64, float64) { return 20 + scale*x, 20 + scale*y }}, n, n)
		var got, want float64
		for y := range n {
			for x := range n {
				got += float64(out[0].Pix[y*out[0].Stride+x]) / float64(n*n)
			}
		}
		to := 20 + int(scale*float64(n))
		for y := 20; y < to; y++ {
			for x := 20; x < to; x++ {
				want += float64(src[0].Pix[y*src[0].Stride+x]) / float64((to-20)*(to-20))
			}
		}
		if math.Abs(got/want-1) > 0.04 {
			t.Errorf("scale %g: mean radiance %.4f, want %.4f", scale, got, want)
		}
	}
}

// What leaves its bounds by more than the overshoot is brought back, and what is not a
// number stays so: the same on every processor.
func TestBoundRows(t *testing.T) {
	var out, lo, hi, want []float32
	for i := range 83 {
		v := float32(i%11)/5 - 1
		if i%17 == 3 {
			v = float32(math.NaN())
		}
		out, lo, hi = append(out, v), append(lo, float32(i%3)/4-.5), append(hi, float32(i%3)/4)
	}
	want = slices.Clone(out)
	boundGo(want, lo, hi)
	n := fastBound(out, lo, hi)
	boundGo(out[n:], lo[n:], hi[n:])
	inside := 0
	for i, v := range want {
		if got := out[i]; got != v && !(got != got && v != v) {
			t.Errorf("%d: %v, want %v", i, got, v)
		}
		if v >= lo[i] && v <= hi[i] {
			inside++
		}
	}
	if inside == 0 || inside > 70 {
		t.Errorf("%d of 83 lie inside: too little is tested", inside)
	}
}
