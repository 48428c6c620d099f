package deliver

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// Reducing in linear light is right for brightness and hard on edges: a kernel
// with strong negative lobes leaves a dark line beside every bright window,
// because a few percent of the window's light are a lot in a dim room. So the
// kernel here is Mitchell and Netravali's with B = C = 1/3 (Computer Graphics
// 22(4), 1988), whose step response overshoots by 1.7 % (Lanczos-3: 7.3 %), and what it takes from
// fine detail is given back by the sharpening, in coded values and with a limit.
func mitchell(x float64) float64 {
	const b, c = 1. / 3, 1. / 3
	x = math.Abs(x)
	switch {
	case x < 1:
		return ((12-9*b-6*c)*x*x*x + (-18+12*b+6*c)*x*x + (6 - 2*b)) / 6
	case x < 2:
		return ((-b-6*c)*x*x*x + (6*b+30*c)*x*x + (-12*b-48*c)*x + (8*b + 24*c)) / 6
	}
	return 0
}

// weights are the taps of one axis: output i is the sum over k of
// w[i*n+k] * input[first[i]+k]. n is a multiple of 4, or the input's length.
type weights struct {
	n     int
	first []int
	w     []float32
}

func axis(from, to int) weights {
	scale := float64(from) / float64(to)
	wide := max(1, scale)
	n := min(from, (int(math.Ceil(4*wide))+1+3)/4*4)
	a := weights{n, make([]int, to), make([]float32, to*n)}
	row := make([]float64, n)
	for i := range to {
		c := (float64(i)+0.5)*scale - 0.5
		lo, hi := int(math.Ceil(c-2*wide)), int(math.Floor(c+2*wide))
		first := max(0, min(lo, from-n))
		clear(row)
		var sum float64
		for j := lo; j <= hi; j++ { // beyond the border its last sample goes on
			v := mitchell((float64(j) - c) / wide)
			row[max(0, min(j, from-1))-first] += v
			sum += v
		}
		a.first[i] = first
		for k, v := range row {
			a.w[i*n+k] = float32(v / sum)
		}
	}
	return a
}

// reduce returns the picture resampled to w x h, which must not be larger than
// it is. Every output row is summed down the columns first, then along itself,
// so that nothing bigger than a row lies between the two.
func reduce(ctx context.Context, pic *raster.RGB, w, h int) (*raster.RGB, error) {
	ax, ay := axis(pic.W(), w), axis(pic.H(), h)
	out := raster.GetRGB(w, h)
	err := raster.BandsOf(ctx, h, 16, func(y0, y1 int) {
		sum := make([]float32, pic.W())
		for c := range 3 {
			for y := y0; y < y1; y++ {
				ay.down(sum, pic[c], y)
				ax.along(out[c].Row(y), sum)
			}
		}
	})
	if err != nil {
		raster.PutRGB(out)
		return nil, err
	}
	return out, nil
}

// down sums the columns of output row y.
func (a *weights) down(sum []float32, src *raster.Plane, y int) {
	w := a.w[y*a.n : (y+1)*a.n]
	first := a.first[y]
	clear(sum)
	k := 0
	for ; k+4 <= len(w); k += 4 {
		addRows4(sum, src.Row(first+k), src.Row(first+k+1), src.Row(first+k+2), src.Row(first+k+3), w[k], w[k+1], w[k+2], w[k+3])
	}
	for ; k < len(w); k++ {
		in := src.Row(first + k)[:len(sum)]
		for x, v := range in {
			sum[x] += w[k] * v
		}
	}
}

func addRows4(sum, a, b, c, d []float32, wa, wb, wc, wd float32) {
	a, b, c, d = a[:len(sum)], b[:len(sum)], c[:len(sum)], d[:len(sum)]
	for x := range sum {
		sum[x] += (wa*a[x] + wb*b[x]) + (wc*c[x] + wd*d[x])
	}
}

// along sums one row into the outputs.
func (a *weights) along(out, in []float32) {
	n := a.n
	for x := range out {
		s := in[a.first[x]:]
		s = s[:n]
		w := a.w[x*n : x*n+n]
		w = w[:len(s)]
		var s0, s1, s2, s3 float32
		for len(s) >= 4 && len(w) >= 4 {
			s0 += w[0] * s[0]
			s1 += w[1] * s[1]
			s2 += w[2] * s[2]
			s3 += w[3] * s[3]
			s, w = s[4:], w[4:]
		}
		for k, v := range s {
			s0 += w[k] * v
		}
		out[x] = (s0 + s1) + (s2 + s3)
	}
}
