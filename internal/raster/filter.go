package raster

import (
	"context"
	"math"
)

// Box writes the mean of the (2r+1) x (2r+1) window around every sample of src
// to dst, which must have the size of src and be another plane. At the border
// the window is cut and the mean taken over what is left, so a constant plane
// stays constant.
func Box(ctx context.Context, dst, src *Plane, r int) error {
	w, h := src.W, src.H
	if w == 0 || h == 0 {
		return ctx.Err()
	}
	tmp := Get(w, h)
	defer Put(tmp)
	if err := Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			boxRow(tmp.Row(y), src.Row(y), r)
		}
	}); err != nil {
		return err
	}
	// Down the columns: one running sum a column, a band of rows at a time.
	return BandsOf(ctx, h, max(bandRows, 4*r), func(y0, y1 int) {
		sum := make([]float32, w)
		lo, hi := max(0, y0-r), min(h, y0+r) // rows [lo, hi) are in sum
		for y := lo; y < hi; y++ {
			addRow(sum, tmp.Row(y))
		}
		for y := y0; y < y1; y++ {
			if y+r < h {
				addRow(sum, tmp.Row(y+r))
			}
			n := min(h-1, y+r) - max(0, y-r) + 1
			scaleRow(dst.Row(y), sum, 1/float32(n))
			if y-r >= 0 {
				subRow(sum, tmp.Row(y-r))
			}
		}
	})
}

func boxRow(dst, src []float32, r int) {
	w := len(src)
	var sum float64
	for x := 0; x < min(r, w); x++ {
		sum += float64(src[x])
	}
	for x := range dst {
		if x+r < w {
			sum += float64(src[x+r])
		}
		n := min(w-1, x+r) - max(0, x-r) + 1
		dst[x] = float32(sum / float64(n))
		if x-r >= 0 {
			sum -= float64(src[x-r])
		}
	}
}

func addRow(a, b []float32) {
	b = b[:len(a)]
	for i := range a {
		a[i] += b[i]
	}
}

func subRow(a, b []float32) {
	b = b[:len(a)]
	for i := range a {
		a[i] -= b[i]
	}
}

func scaleRow(dst, src []float32, s float32) {
	src = src[:len(dst)]
	for i := range dst {
		dst[i] = src[i] * s
	}
}

// Gauss writes src blurred by a Gaussian of the given standard deviation in
// samples to dst, which may be src. Borders are clamped. The kernel is cut at
// 3.5 sigma; blurs wider than 12 samples are made at reduced size.
func Gauss(ctx context.Context, dst, src *Plane, sigma float64) error {
	if sigma <= 0.01 {
		if dst != src {
			for y := range src.H {
				copy(dst.Row(y), src.Row(y))
			}
		}
		return ctx.Err()
	}
	if sigma > 12 && src.W > 16 && src.H > 16 {
		return gaussWide(ctx, dst, src, sigma)
	}
	k := gaussKernel(sigma)
	tmp := Get(src.W, src.H)
	defer Put(tmp)
	if err := Bands(ctx, src.H, func(y0, y1 int) {
		pad := make([]float32, src.W+len(k)-1)
		for y := y0; y < y1; y++ {
			convolveRow(tmp.Row(y), src.Row(y), k, pad)
		}
	}); err != nil {
		return err
	}
	return Bands(ctx, src.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			convolveColumn(dst.Row(y), tmp, y, k)
		}
	})
}

// gaussWide blurs at half size. Halving and doubling with the binomial kernel
// blur by a known variance themselves, which is taken off.
func gaussWide(ctx context.Context, dst, src *Plane, sigma float64) error {
	small, err := Halve(ctx, src)
	if err != nil {
		return err
	}
	defer Put(small)
	// Variance of the 5-tap binomial kernel is 1 sample^2 of the fine grid, once
	// down and once up.
	s := math.Sqrt(max(0, sigma*sigma-2)) / 2
	if err := Gauss(ctx, small, small, s); err != nil {
		return err
	}
	big, err := Double(ctx, small, src.W, src.H)
	if err != nil {
		return err
	}
	defer Put(big)
	for y := range src.H {
		copy(dst.Row(y), big.Row(y))
	}
	return ctx.Err()
}

func gaussKernel(sigma float64) []float32 {
	r := max(1, int(math.Ceil(3.5*sigma)))
	k := make([]float32, 2*r+1)
	var sum float64
	for i := range k {
		d := float64(i - r)
		sum += math.Exp(-d * d / (2 * sigma * sigma))
	}
	for i := range k {
		d := float64(i - r)
		k[i] = float32(math.Exp(-d*d/(2*sigma*sigma)) / sum)
	}
	return k
}

// convolveRow needs pad of len(src)+len(k)-1 samples to hold the clamped row.
func convolveRow(dst, src, k, pad []float32) {
	r := len(k) / 2
	w := len(src)
	for i := range r {
		pad[i] = src[0]
		pad[r+w+i] = src[w-1]
	}
	copy(pad[r:], src)
	for i := range dst {
		dst[i] = 0
	}
	for j, c := range k {
		s := pad[j : j+w]
		for x := range dst {
			dst[x] += c * s[x]
		}
	}
}

func convolveColumn(dst []float32, src *Plane, y int, k []float32) {
	r := len(k) / 2
	for i := range dst {
		dst[i] = 0
	}
	for j, c := range k {
		s := src.Row(max(0, min(src.H-1, y+j-r)))[:len(dst)]
		for x := range dst {
			dst[x] += c * s[x]
		}
	}
}
