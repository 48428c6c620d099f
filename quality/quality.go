// Package quality measures pictures against what they were made from: TMQI, a
// tone-mapped picture against its radiance, and MEF-SSIM, a fused picture
// against its exposures. Both are written from the papers' formulas. They see
// structure; neither sees colour, and MEF-SSIM does not see brightness.
package quality

import (
	"context"
	"errors"
	"math"

	"mullion/internal/raster"
)

// ErrSize is returned for pictures of different or too small sizes.
var ErrSize = errors.New("quality: the pictures differ in size or are too small to measure")

// window is the size of the sliding windows of both measures.
const window = 11

// gaussian is the window of SSIM (Wang et al. 2004): 11 x 11, sigma 1.5.
func gaussian() [window]float64 {
	var k [window]float64
	var sum float64
	for i := range k {
		d := float64(i - window/2)
		k[i] = math.Exp(-d * d / (2 * 1.5 * 1.5))
		sum += k[i]
	}
	for i := range k {
		k[i] /= sum
	}
	return k
}

// field is a plane in double precision: radiance squared needs it.
type field struct {
	w, h int
	v    []float64
}

func newField(w, h int) field { return field{w, h, make([]float64, w*h)} }

func toField(p *raster.Plane) field {
	f := newField(p.W, p.H)
	for y := range p.H {
		for x, v := range p.Row(y) {
			f.v[y*p.W+x] = float64(v)
		}
	}
	return f
}

// filter convolves with a separable kernel where it fits wholly.
func (f field) filter(k [window]float64) field {
	w, h := f.w-window+1, f.h-window+1
	tmp, out := newField(w, f.h), newField(w, h)
	for y := range f.h {
		for x := range w {
			var s float64
			for i, c := range k {
				s += c * f.v[y*f.w+x+i]
			}
			tmp.v[y*w+x] = s
		}
	}
	for y := range h {
		for i, c := range k {
			for x := range w {
				out.v[y*w+x] += c * tmp.v[(y+i)*w+x]
			}
		}
	}
	return out
}

func (f field) times(g field) field {
	out := newField(f.w, f.h)
	for i := range out.v {
		out.v[i] = f.v[i] * g.v[i]
	}
	return out
}

// halve averages 2 x 2 samples.
func (f field) halve() field {
	out := newField(f.w/2, f.h/2)
	for y := range out.h {
		for x := range out.w {
			i := 2*y*f.w + 2*x
			out.v[y*out.w+x] = (f.v[i] + f.v[i+1] + f.v[i+f.w] + f.v[i+f.w+1]) / 4
		}
	}
	return out
}

func (f field) mean() float64 {
	var s float64
	for _, v := range f.v {
		s += v
	}
	return s / float64(len(f.v))
}

// moments are windowed means, variances and the covariance of two fields.
type moments struct{ mx, my, vx, vy, cov field }

func measure(ctx context.Context, x, y field) (moments, error) {
	k := gaussian()
	m := moments{mx: x.filter(k), my: y.filter(k)}
	if err := ctx.Err(); err != nil {
		return m, err
	}
	m.vx, m.vy, m.cov = x.times(x).filter(k), y.times(y).filter(k), x.times(y).filter(k)
	for i := range m.mx.v {
		a, b := m.mx.v[i], m.my.v[i]
		m.vx.v[i] = max(0, m.vx.v[i]-a*a)
		m.vy.v[i] = max(0, m.vy.v[i]-b*b)
		m.cov.v[i] -= a * b
	}
	return m, ctx.Err()
}
