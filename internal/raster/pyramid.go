package raster

import "context"

// Halve and Double are the reduce and expand steps of the Laplacian pyramid
// (Burt & Adelson, IEEE Trans. Commun. 31, 1983) with the binomial kernel
// 1 4 6 4 1.

// Halve returns src low-passed and sampled at every second row and column:
// (W+1)/2 x (H+1)/2 samples. Sample i of the result lies on sample 2i of src.
func Halve(ctx context.Context, src *Plane) (*Plane, error) {
	w, h := (src.W+1)/2, (src.H+1)/2
	tmp, dst := Get(w, src.H), Get(w, h)
	defer Put(tmp)
	if err := Bands(ctx, src.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			halveRow(tmp.Row(y), src.Row(y))
		}
	}); err != nil {
		return nil, err
	}
	err := Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			a, b, c, d, e := rows5(tmp, 2*y)
			mean5(dst.Row(y), a, b, c, d, e)
		}
	})
	return dst, err
}

func rows5(p *Plane, y int) (a, b, c, d, e []float32) {
	at := func(y int) []float32 { return p.Row(max(0, min(p.H-1, y))) }
	return at(y - 2), at(y - 1), at(y), at(y + 1), at(y + 2)
}

func halveRow(dst, src []float32) {
	n := len(src)
	clamp := func(i int) float32 { return src[max(0, min(n-1, i))] }
	edge := func(x int) {
		i := 2 * x
		dst[x] = (clamp(i-2)+clamp(i+2))*(1./16) + (clamp(i-1)+clamp(i+1))*(4./16) + clamp(i)*(6./16)
	}
	edge(0)
	inner := max(1, (n-1)/2) // the first whose last neighbour is outside
	halveInner(dst[1:inner], src)
	for x := inner; x < len(dst); x++ {
		edge(x)
	}
}

// Double returns src expanded to w x h samples, which must be a size that Halve
// takes to that of src.
func Double(ctx context.Context, src *Plane, w, h int) (*Plane, error) {
	if (w+1)/2 != src.W || (h+1)/2 != src.H {
		panic("raster: Double to a size that does not halve to the source")
	}
	tmp, dst := Get(w, src.H), Get(w, h)
	defer Put(tmp)
	if err := Bands(ctx, src.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			doubleRow(tmp.Row(y), src.Row(y))
		}
	}); err != nil {
		return nil, err
	}
	err := Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			b, c := tmp.Row(y/2), tmp.Row(min(src.H-1, y/2+1))
			if y&1 == 1 {
				mean2(dst.Row(y), b, c)
			} else {
				mean3(dst.Row(y), tmp.Row(max(0, y/2-1)), b, c)
			}
		}
	})
	return dst, err
}

func doubleRow(dst, src []float32) {
	n := len(src)
	edge := func(x int) {
		i := x / 2
		b, c := src[i], src[min(n-1, i+1)]
		if x&1 == 1 {
			dst[x] = (b + c) * 0.5
			return
		}
		dst[x] = (src[max(0, i-1)]+c)*(1./8) + b*(6./8)
	}
	for x := range min(2, len(dst)) {
		edge(x)
	}
	if n > 2 {
		doubleInner(dst[2:2*n-2], src)
	}
	for x := max(2, 2*n-2); x < len(dst); x++ {
		edge(x)
	}
}
