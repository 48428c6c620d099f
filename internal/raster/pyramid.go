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
			out := dst.Row(y)
			a, b, c, d, e = a[:len(out)], b[:len(out)], c[:len(out)], d[:len(out)], e[:len(out)]
			for x := range out {
				out[x] = (a[x]+e[x])*(1./16) + (b[x]+d[x])*(4./16) + c[x]*(6./16)
			}
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
	for x := 1; x < inner; x++ {
		s := src[2*x-2 : 2*x+3 : 2*x+3]
		dst[x] = (s[0]+s[4])*(1./16) + (s[1]+s[3])*(4./16) + s[2]*(6./16)
	}
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
			out := dst.Row(y)
			b := tmp.Row(y / 2)[:len(out)]
			c := tmp.Row(min(src.H-1, y/2+1))[:len(out)]
			if y&1 == 1 {
				for x := range out {
					out[x] = (b[x] + c[x]) * 0.5
				}
				continue
			}
			a := tmp.Row(max(0, y/2-1))[:len(out)]
			for x := range out {
				out[x] = (a[x]+c[x])*(1./8) + b[x]*(6./8)
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
	for i := 1; i+1 < n; i++ {
		s, d := src[i-1:i+2:i+2], dst[2*i:2*i+2:2*i+2]
		d[0] = (s[0]+s[2])*(1./8) + s[1]*(6./8)
		d[1] = (s[1] + s[2]) * 0.5
	}
	for x := max(2, 2*n-2); x < len(dst); x++ {
		edge(x)
	}
}
