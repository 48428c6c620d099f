package lines

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// field holds the level-line direction of every 2x2 block as a unit vector, zero
// where the gradient is too weak to have one. Comparing unit vectors by their
// dot product saves the arc tangents of comparing angles.
type field struct {
	w, h int
	dir  []vec
	mag  []float32
	max  float32
}

type vec struct{ x, y float32 }

// levelLines takes gradients over 2x2 blocks, the smallest mask there is, so that
// neighbouring values stay as independent as the false-alarm count assumes.
func levelLines(ctx context.Context, p *raster.Plane, weakest float64) (*field, error) {
	w, h := p.W-1, p.H-1
	f := &field{w: w, h: h, dir: make([]vec, w*h), mag: make([]float32, w*h)}
	rowMax := make([]float32, h)
	limit := float32(4 * weakest * weakest)
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			rowMax[y] = levelRow(f.dir[y*w:(y+1)*w], f.mag[y*w:(y+1)*w], p.Row(y), p.Row(y+1), limit)
		}
	})
	for _, m := range rowMax {
		f.max = max(f.max, m)
	}
	return f, err
}

func levelRow(dir []vec, mag, a, b []float32, limit float32) float32 {
	var most float32
	a, b = a[:len(dir)+1], b[:len(dir)+1]
	mag = mag[:len(dir)]
	for x := range dir {
		d1, d2 := b[x+1]-a[x], a[x+1]-b[x]
		gx, gy := d1+d2, d1-d2
		q := gx*gx + gy*gy
		if !(q > limit) { // also catches NaN
			continue
		}
		n := float32(math.Sqrt(float64(q)))
		dir[x] = vec{gy / n, -gx / n} // bright on the right
		mag[x] = n / 2
		if mag[x] > most {
			most = mag[x]
		}
	}
	return most
}

// seeds lists the pixels that have a direction, strongest first, in 1024 classes
// of strength (an exact sort buys nothing).
func (f *field) seeds() []int32 {
	var start [bins + 1]int32
	scale := float32(bins) / f.max
	class := func(m float32) int { return bins - 1 - min(bins-1, int(m*scale)) }
	for _, m := range f.mag {
		if m > 0 {
			start[class(m)+1]++
		}
	}
	for i := range bins {
		start[i+1] += start[i]
	}
	list := make([]int32, start[bins])
	for i, m := range f.mag {
		if m > 0 {
			c := class(m)
			list[start[c]] = int32(i)
			start[c]++
		}
	}
	return list
}

// scaled returns p low-passed by a Gaussian of 0.6/scale samples and sampled at
// the given scale; p itself at scale 1.
func scaled(ctx context.Context, p *raster.Plane, scale float64) (*raster.Plane, error) {
	w := max(4, int(math.Ceil(float64(p.W)*scale)))
	h := max(4, int(math.Ceil(float64(p.H)*scale)))
	if w >= p.W || h >= p.H {
		return p, ctx.Err()
	}
	xs, ys := gaussTaps(p.W, w), gaussTaps(p.H, h)
	tmp, dst := raster.Get(w, p.H), raster.Get(w, h)
	defer raster.Put(tmp)
	if err := raster.Bands(ctx, p.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			in, out := p.Row(y), tmp.Row(y)
			for x := range out {
				t := &xs[x]
				s := in[t.first : t.first+len(t.w)]
				var sum float32
				for i, c := range t.w {
					sum += c * s[i]
				}
				out[x] = sum
			}
		}
	}); err != nil {
		return nil, err
	}
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			out := dst.Row(y)
			for x := range out {
				out[x] = 0
			}
			for i, c := range ys[y].w {
				in := tmp.Row(ys[y].first + i)[:len(out)]
				for x := range out {
					out[x] += c * in[x]
				}
			}
		}
	})
	return dst, err
}

type taps struct {
	first int
	w     []float32
}

func gaussTaps(from, to int) []taps {
	step := float64(from) / float64(to)
	sigma := 0.6 * step
	all := make([]taps, to)
	for i := range all {
		c := (float64(i)+0.5)*step - 0.5
		lo := max(0, int(math.Ceil(c-3*sigma)))
		hi := min(from-1, int(math.Floor(c+3*sigma)))
		var sum float64
		w := make([]float32, hi-lo+1)
		for j := range w {
			d := (float64(lo+j) - c) / sigma
			sum += math.Exp(-d * d / 2)
		}
		for j := range w {
			d := (float64(lo+j) - c) / sigma
			w[j] = float32(math.Exp(-d*d/2) / sum)
		}
		all[i] = taps{lo, w}
	}
	return all
}
