package quality

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// MEFSSIM compares a fused picture with its exposures, all greys as code values
// 0 to 255 of one size, at least 44 samples high and wide (Ma, Zeng & Wang, IEEE
// Trans. Image Process. 24, 2015). 1 is perfect.
//
// In every 11 x 11 window the exposures' patches, without their means, are joined
// into one desired patch: the strongest contrast among them, and the direction
// of their sum weighted by contrast to a power that grows with their agreement.
// The score is the contrast-structure term of SSIM between desired and given,
// averaged, over three scales.
func MEFSSIM(ctx context.Context, exposures []*raster.Plane, picture *raster.Plane) (float64, error) {
	if len(exposures) == 0 || min(picture.W, picture.H) < window*4 {
		return 0, ErrSize
	}
	in := make([]field, len(exposures))
	for i, e := range exposures {
		if e.W != picture.W || e.H != picture.H {
			return 0, ErrSize
		}
		in[i] = toField(e)
	}
	y := toField(picture)
	weights := scaleWeights[:3]
	var total float64
	for _, w := range weights {
		total += w
	}
	score := 1.0
	for _, w := range weights {
		s, err := desired(ctx, in, y)
		if err != nil {
			return 0, err
		}
		score *= math.Pow(max(s, 0), w/total)
		for i := range in {
			in[i] = in[i].halve()
		}
		y = y.halve()
	}
	return score, nil
}

func desired(ctx context.Context, in []field, y field) (float64, error) {
	w, h := y.w-window+1, y.h-window+1
	rows := make([]float64, h)
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		p := newPatches(len(in))
		for j := y0; j < y1; j++ {
			for i := range w {
				rows[j] += p.score(in, y, i, j)
			}
		}
	})
	var sum float64
	for _, r := range rows {
		sum += r
	}
	return sum / float64(w*h), err
}

// patches holds the exposures' and the picture's patch at one place.
type patches struct {
	x    [][]float64
	norm []float64
	y    []float64
	want []float64
}

func newPatches(n int) *patches {
	p := &patches{x: make([][]float64, n), norm: make([]float64, n)}
	for i := range p.x {
		p.x[i] = make([]float64, window*window)
	}
	p.y, p.want = make([]float64, window*window), make([]float64, window*window)
	return p
}

// take copies a patch without its mean and returns its length as a vector.
func take(dst []float64, f field, x, y int) float64 {
	var mean float64
	for j := range window {
		row := f.v[(y+j)*f.w+x:][:window]
		copy(dst[j*window:], row)
		for _, v := range row {
			mean += v
		}
	}
	mean /= window * window
	var ss float64
	for i := range dst {
		dst[i] -= mean
		ss += dst[i] * dst[i]
	}
	return math.Sqrt(ss)
}

func (p *patches) score(in []field, y field, i, j int) float64 {
	var sum, strongest float64
	clear(p.want)
	for k, f := range in {
		p.norm[k] = take(p.x[k], f, i, j)
		sum += p.norm[k]
		strongest = max(strongest, p.norm[k])
		for n, v := range p.x[k] {
			p.want[n] += v
		}
	}
	// How far the patches agree: 1 when they are multiples of each other.
	agree := length(p.want) / (sum + 1e-9)
	power := min(10, math.Tan(math.Pi/2*min(agree, 0.9999)))
	clear(p.want)
	for k, x := range p.x {
		c := p.norm[k]
		if c <= 0 {
			continue
		}
		w := math.Pow(c/strongest, power) / c
		for n, v := range x {
			p.want[n] += w * v
		}
	}
	if l := length(p.want); l > 0 {
		for n := range p.want {
			p.want[n] *= strongest / l
		}
	}
	ly := take(p.y, y, i, j)
	var dot float64
	for n, v := range p.y {
		dot += v * p.want[n]
	}
	const count = window * window
	const c = (0.03 * 255) * (0.03 * 255)
	return (2*dot/count + c) / ((strongest*strongest+ly*ly)/count + c)
}

func length(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x * x
	}
	return math.Sqrt(s)
}
