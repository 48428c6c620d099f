package quality

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// Mertens is exposure fusion as it was published (Mertens, Kautz & Van Reeth,
// "Exposure Fusion", Pacific Graphics 2007), to compare pictures with; nothing in
// the program uses it. The exposures are display code values 0 to 1 of one size.
// The result may leave 0 to 1 a little and is clamped.
//
// Every pixel of every exposure is weighted by contrast (the absolute Laplacian
// of its grey), saturation (the standard deviation of its channels) and
// well-exposedness (a Gaussian of sigma 0.2 around one half, all channels
// multiplied), each to the power one. The exposures' Laplacian pyramids are
// averaged with the Gaussian pyramids of the weights.
func Mertens(ctx context.Context, exposures []*raster.RGB) (*raster.RGB, error) {
	out, err := fuse(ctx, exposures)
	if err != nil {
		return nil, err
	}
	for c := range out {
		for i, v := range out[c].Pix {
			out[c].Pix[i] = max(0, min(1, v))
		}
	}
	return out, nil
}

func fuse(ctx context.Context, exposures []*raster.RGB) (*raster.RGB, error) {
	if len(exposures) == 0 {
		return nil, ErrSize
	}
	w, h := exposures[0].W(), exposures[0].H()
	weights := make([]field, len(exposures))
	total := newField(w, h)
	for k, e := range exposures {
		if e.W() != w || e.H() != h || min(w, h) < 2 {
			return nil, ErrSize
		}
		weights[k] = fusionWeight(e)
		for i, v := range weights[k].v {
			total.v[i] += v
		}
	}
	levels := int(math.Floor(math.Log2(float64(min(w, h)))))
	var sum [3][]field
	for k, e := range exposures {
		for i := range total.v {
			weights[k].v[i] /= total.v[i]
		}
		wp := weights[k].gaussianPyramid(levels)
		for c := range e {
			lp := toField(e[c]).laplacianPyramid(levels)
			for l := range lp {
				if sum[c] == nil || len(sum[c]) <= l {
					sum[c] = append(sum[c], newField(lp[l].w, lp[l].h))
				}
				for i, v := range lp[l].v {
					sum[c][l].v[i] += v * wp[l].v[i]
				}
			}
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
	}
	out := raster.NewRGB(w, h)
	for c := range out {
		for i, v := range collapse(sum[c]).v {
			out[c].Pix[i] = float32(v)
		}
	}
	return out, nil
}

func fusionWeight(e *raster.RGB) field {
	w, h := e.W(), e.H()
	grey, out := newField(w, h), newField(w, h)
	for i := range grey.v {
		grey.v[i] = 0.2989*float64(e[0].Pix[i]) + 0.5870*float64(e[1].Pix[i]) + 0.1140*float64(e[2].Pix[i])
	}
	at := func(x, y int) float64 { return grey.v[max(0, min(h-1, y))*w+max(0, min(w-1, x))] }
	for y := range h {
		for x := range w {
			i := y*w + x
			contrast := math.Abs(at(x-1, y) + at(x+1, y) + at(x, y-1) + at(x, y+1) - 4*grey.v[i])
			var mean, ss, d2 float64
			for c := range 3 {
				v := float64(e[c].Pix[i])
				mean += v / 3
				ss += v * v / 3
				d2 += (v - 0.5) * (v - 0.5)
			}
			saturation := math.Sqrt(max(0, ss-mean*mean))
			out.v[i] = contrast*saturation*math.Exp(-d2/(2*0.2*0.2)) + 1e-12
		}
	}
	return out
}

// binomial is the kernel of Burt & Adelson (IEEE Trans. Commun. 31, 1983) with a = 3/8.
var binomial = [5]float64{1. / 16, 4. / 16, 6. / 16, 4. / 16, 1. / 16}

// reduce low-passes and keeps every second sample; borders are mirrored, the edge
// sample repeated.
func (f field) reduce() field {
	out := newField((f.w+1)/2, (f.h+1)/2)
	tmp := newField(out.w, f.h)
	for y := range f.h {
		for x := range out.w {
			for k, c := range binomial {
				tmp.v[y*out.w+x] += c * f.v[y*f.w+mirror(2*x+k-2, f.w)]
			}
		}
	}
	for y := range out.h {
		for k, c := range binomial {
			from := mirror(2*y+k-2, f.h) * out.w
			for x := range out.w {
				out.v[y*out.w+x] += c * tmp.v[from+x]
			}
		}
	}
	return out
}

func mirror(i, n int) int {
	for i < 0 || i >= n {
		if i < 0 {
			i = -1 - i
		} else {
			i = 2*n - 1 - i
		}
	}
	return i
}

// expand is the matching enlargement to w x h; beyond the border the edge sample
// is repeated. Even samples see three of the source's, odd ones two.
func (f field) expand(w, h int) field {
	tmp, out := newField(w, f.h), newField(w, h)
	for x := range w {
		for _, t := range sourcesOf(x, f.w) {
			for y := range f.h {
				tmp.v[y*w+x] += t.weight * f.v[y*f.w+t.at]
			}
		}
	}
	for y := range h {
		for _, t := range sourcesOf(y, f.h) {
			for x := range w {
				out.v[y*w+x] += t.weight * tmp.v[t.at*w+x]
			}
		}
	}
	return out
}

type source struct {
	at     int
	weight float64
}

func sourcesOf(x, n int) []source {
	at := func(i int) int { return max(0, min(n-1, i)) }
	k := x / 2
	if x%2 == 0 {
		return []source{{at(k - 1), 1. / 8}, {at(k), 6. / 8}, {at(k + 1), 1. / 8}}
	}
	return []source{{at(k), 1. / 2}, {at(k + 1), 1. / 2}}
}

func (f field) gaussianPyramid(levels int) []field {
	out := []field{f}
	for len(out) < levels {
		out = append(out, out[len(out)-1].reduce())
	}
	return out
}

func (f field) laplacianPyramid(levels int) []field {
	out := f.gaussianPyramid(levels)
	for l := range out[:len(out)-1] {
		out[l] = out[l].plus(out[l+1].expand(out[l].w, out[l].h), -1)
	}
	return out
}

func (f field) plus(g field, k float64) field {
	out := newField(f.w, f.h)
	for i := range out.v {
		out.v[i] = f.v[i] + k*g.v[i]
	}
	return out
}

func collapse(p []field) field {
	out := p[len(p)-1]
	for l := len(p) - 2; l >= 0; l-- {
		out = p[l].plus(out.expand(p[l].w, p[l].h), 1)
	}
	return out
}
