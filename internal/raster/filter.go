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
	if r <= fewBox {
		return Bands(ctx, h, func(y0, y1 int) { boxFew(dst, src, y0, y1, r) })
	}
	tmp := Get(w, h)
	defer Put(tmp)
	if err := Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y += abreast {
			var from, to [abreast][]float32
			for i := range from {
				from[i], to[i] = src.Row(min(y+i, y1-1)), tmp.Row(min(y+i, y1-1))
			}
			boxRows(to, from, r)
		}
	}); err != nil {
		return err
	}
	// Down the columns: one running sum a column, a band of rows at a time.
	return BandsOf(ctx, h, max(bandRows, 4*r), func(y0, y1 int) {
		sum, none := make([]float32, w), make([]float32, w)
		lo, hi := max(0, y0-r), min(h, y0+r) // rows [lo, hi) are in sum
		for y := lo; y < hi; y++ {
			addRow(sum, tmp.Row(y))
		}
		for y := y0; y < y1; y++ {
			n := min(h-1, y+r) - max(0, y-r) + 1
			in, out := none, none
			if y+r < h {
				in = tmp.Row(y + r)
			}
			if y-r >= 0 {
				out = tmp.Row(y - r)
			}
			slide(dst.Row(y), sum, in, out, 1/float32(n))
		}
	})
}

// fewBox is up to which radius windows are summed anew for every sample, which wants no
// sum that goes on along the row.
const fewBox = 4

// boxFew makes rows y0 to y1 of dst.
func boxFew(dst, src *Plane, y0, y1, r int) {
	b := NewBoxes(src.W, src.H, r)
	defer b.Release()
	next := max(0, y0-r)
	for y := y0; y < y1; y++ {
		for ; next <= min(src.H-1, y+r); next++ {
			b.Add(next, src.Row(next))
		}
		b.Mean(dst.Row(y), y)
	}
}

// Boxes makes the means of Box row by row, for those who have more to do with a row while
// it is in the processor's cache. Rows are added in order; the mean of row y wants rows
// y-r to y+r, as far as there are any, and holds no more.
type Boxes struct {
	h, r  int
	all   []float32
	rows  [][]float32 // the means along each row; row y lies at y % len(rows)
	share []float32   // 1 / (2 r + 1), so often
	parts [][]float32
}

// NewBoxes is for a plane of w x h samples and a small radius r.
func NewBoxes(w, h, r int) *Boxes {
	n := 2*r + 1
	b := &Boxes{h: h, r: r, rows: make([][]float32, n), share: make([]float32, n), parts: make([][]float32, n)}
	b.all = take(n * w)
	for i := range b.rows {
		b.rows[i], b.share[i] = b.all[i*w:(i+1)*w], 1/float32(n)
	}
	return b
}

// Release gives the memory back.
func (b *Boxes) Release() { give(b.all) }

// Add takes row y.
func (b *Boxes) Add(y int, row []float32) {
	to, w, r := b.rows[y%len(b.rows)], len(row), b.r
	if w <= 2*r {
		for x := range to {
			to[x] = meanOf(row[max(0, x-r):min(w, x+r+1)])
		}
		return
	}
	for j := range b.parts {
		b.parts[j] = row[j:][:w-2*r]
	}
	weigh(to[r:w-r], b.parts, b.share)
	for i := range r { // at both ends
		to[i], to[w-1-i] = meanOf(row[:i+r+1]), meanOf(row[w-1-i-r:])
	}
}

// Mean writes the means around the samples of row y.
func (b *Boxes) Mean(dst []float32, y int) {
	lo, hi := max(0, y-b.r), min(b.h-1, y+b.r)
	n := hi - lo + 1
	for i := range n {
		b.parts[i] = b.rows[(lo+i)%len(b.rows)]
	}
	share := b.share
	if n < len(share) {
		share = make([]float32, n)
		for i := range share {
			share[i] = 1 / float32(n)
		}
	}
	weigh(dst, b.parts[:n], share[:n])
}

func meanOf(v []float32) float32 {
	var sum float64
	for _, x := range v {
		sum += float64(x)
	}
	return float32(sum / float64(len(v)))
}

// abreast is how many rows are summed side by side, so that the processor need not wait
// for one sum before it begins the next.
const abreast = 4

// boxRows writes the means of 2r + 1 samples of each row. Rows may be given twice.
func boxRows(dst, src [abreast][]float32, r int) {
	w := len(src[0])
	var sum [abreast]float64
	for i := range sum {
		for _, v := range src[i][:min(r, w)] {
			sum[i] += float64(v)
		}
	}
	// Between first and last, whole windows fit.
	first, last := min(r, w), max(w-r, min(r, w))
	for x := range first {
		boxEdge(dst, src, &sum, x, r)
	}
	boxInner(dst, src, &sum, first, last, r)
	for x := last; x < w; x++ {
		boxEdge(dst, src, &sum, x, r)
	}
}

// boxEdge makes the samples at x.
func boxEdge(dst, src [abreast][]float32, sum *[abreast]float64, x, r int) {
	w := len(src[0])
	n := float64(min(w-1, x+r) - max(0, x-r) + 1)
	for i := range sum {
		if x+r < w {
			sum[i] += float64(src[i][x+r])
		}
		dst[i][x] = float32(sum[i] / n)
		if x-r >= 0 {
			sum[i] -= float64(src[i][x-r])
		}
	}
}

// boxInner makes the samples from first on and before last.
func boxInner(dst, src [abreast][]float32, sum *[abreast]float64, first, last, r int) {
	if first >= last {
		return
	}
	n := last - first
	part := func(row []float32, from int) []float32 { return row[from:][:n:n] }
	to0, to1, to2, to3 := part(dst[0], first), part(dst[1], first), part(dst[2], first), part(dst[3], first)
	in0, in1, in2, in3 := part(src[0], first+r), part(src[1], first+r), part(src[2], first+r), part(src[3], first+r)
	out0, out1, out2, out3 := part(src[0], first-r), part(src[1], first-r), part(src[2], first-r), part(src[3], first-r)
	share := 1 / float64(2*r+1)
	s0, s1, s2, s3 := sum[0], sum[1], sum[2], sum[3]
	for x := range n {
		s0, s1, s2, s3 = s0+float64(in0[x]), s1+float64(in1[x]), s2+float64(in2[x]), s3+float64(in3[x])
		to0[x], to1[x], to2[x], to3[x] = float32(s0*share), float32(s1*share), float32(s2*share), float32(s3*share)
		s0, s1, s2, s3 = s0-float64(out0[x]), s1-float64(out1[x]), s2-float64(out2[x]), s3-float64(out3[x])
	}
	*sum = [abreast]float64{s0, s1, s2, s3}
}

func addRow(a, b []float32) {
	b = b[:len(a)]
	for i := range a {
		a[i] += b[i]
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
		rows := make([][]float32, len(k))
		for j := range rows {
			rows[j] = pad[j:][:src.W]
		}
		for y := y0; y < y1; y++ {
			clamped(pad, src.Row(y))
			weigh(tmp.Row(y), rows, k)
		}
	}); err != nil {
		return err
	}
	return Bands(ctx, src.H, func(y0, y1 int) {
		rows := make([][]float32, len(k))
		for y := y0; y < y1; y++ {
			for j := range rows {
				rows[j] = tmp.Row(max(0, min(src.H-1, y+j-len(k)/2)))
			}
			weigh(dst.Row(y), rows, k)
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

// clamped writes a row to the middle of pad and its first and last sample around it.
func clamped(pad, row []float32) {
	r := (len(pad) - len(row)) / 2
	copy(pad[r:], row)
	for i := range r {
		pad[i], pad[r+len(row)+i] = row[0], row[len(row)-1]
	}
}
