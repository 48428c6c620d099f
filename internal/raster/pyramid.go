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

// Split parts a plane of w x h samples into what Halve keeps of it, which it returns, and
// the rest: fn is given every row with the same row of what Double would make of the
// halved plane. row gives the plane's rows, which need be written nowhere: it may write
// one to scratch and return that. Rows at the borders of bands are asked for twice. So
// everything between them stays in the processor's cache.
func Split(ctx context.Context, w, h int, row func(y int, scratch []float32) []float32, fn func(y int, row, up []float32)) (*Plane, error) {
	dst := Get((w+1)/2, (h+1)/2)
	err := BandsOf(ctx, h, splitRows, func(y0, y1 int) {
		s := newSplit(w, h, dst)
		defer give(s.memory)
		first, last := max(0, y0/2-1), min(dst.H-1, (y1-1)/2+1) // halved rows
		s.made = max(0, 2*first-2) - 1
		for i := first; i <= last; i++ {
			s.halve(i, 2*i >= y0 && 2*i < y1, row)
			if i > first {
				s.part(i-1, y0, y1, fn)
			}
		}
		if last == dst.H-1 {
			s.part(last, y0, y1, fn)
		}
	})
	return dst, err
}

// splitRows is how many rows a worker splits at a time; it makes eight more.
const splitRows = 64

// split holds the rows in hand of one worker: row y lies at y % 8, halved row i at i % 4.
type split struct {
	h          int
	dst        *Plane
	memory     []float32
	made       int // the last row that was made
	room       [8][]float32
	row, half  [8][]float32
	wide       [4][]float32
	spare, sum []float32
}

func newSplit(w, h int, dst *Plane) *split {
	n := dst.W
	s := &split{h: h, dst: dst, memory: take(13*w + 9*n)}
	rest := s.memory
	cut := func(n int) (out []float32) {
		out, rest = rest[:n:n], rest[n:]
		return out
	}
	for i := range s.half {
		s.room[i], s.half[i] = cut(w), cut(n)
	}
	for i := range s.wide {
		s.wide[i] = cut(w)
	}
	s.sum, s.spare = cut(w), cut(n)
	return s
}

// halve makes the halved row i, which is kept where it is this band's, and doubles it.
func (s *split) halve(i int, keep bool, row func(y int, scratch []float32) []float32) {
	for s.made < min(s.h-1, 2*i+2) {
		s.made++
		k := s.made % 8
		s.row[k] = row(s.made, s.room[k])
		halveRow(s.half[k], s.row[k])
	}
	at := func(y int) []float32 { return s.half[max(0, min(s.h-1, y))%8] }
	to := s.spare
	if keep {
		to = s.dst.Row(i)
	}
	mean5(to, at(2*i-2), at(2*i-1), at(2*i), at(2*i+1), at(2*i+2))
	doubleRow(s.wide[i%4], to)
}

// part hands out the two rows that lie on halved row i and under it.
func (s *split) part(i, y0, y1 int, fn func(y int, row, up []float32)) {
	above, on, under := s.wide[max(0, i-1)%4], s.wide[i%4], s.wide[min(s.dst.H-1, i+1)%4]
	if y := 2 * i; y >= y0 && y < y1 {
		mean3(s.sum, above, on, under)
		fn(y, s.row[y%8], s.sum)
	}
	if y := 2*i + 1; y >= y0 && y < y1 {
		mean2(s.sum, on, under)
		fn(y, s.row[y%8], s.sum)
	}
}
