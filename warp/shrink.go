package warp

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// shrinks is the scale, in source pixels an output pixel, from which a picture is
// made smaller rather than merely moved. Then what counts is the light that falls
// into each new pixel: a lamp of one old pixel must give its mean radiance, which
// the mean of logarithms would swallow.
const shrinks = 1.25

// scale is how many source pixels, across or down, an output pixel covers in the
// middle of the output.
func (g *grid) scale() float64 {
	i, j := max(0, g.cols/2-1), max(0, g.rows/2-1)
	p := g.pos[1]
	a, b, c := p[j*g.cols+i], p[j*g.cols+i+1], p[(j+1)*g.cols+i]
	det := (b.x-a.x)*(c.y-a.y) - (b.y-a.y)*(c.x-a.x)
	return math.Sqrt(math.Abs(det)) / float64(g.step)
}

// coarser returns the map into a source whose pixels are k times as large.
func (m Map) coarser(k float64) Map {
	out := Map{At: func(x, y float64) (float64, float64) {
		x, y = m.At(x, y)
		return x / k, y / k
	}}
	if m.Channel != nil {
		out.Channel = func(c int, x, y float64) (float64, float64) {
			x, y = m.Channel(c, x*k, y*k)
			return x / k, y / k
		}
	}
	if m.Gain != nil {
		out.Gain = func(x, y float64) float64 { return m.Gain(x*k, y*k) }
	}
	return out
}

// blocks is the first step of a large reduction: as far as it goes, the kernel
// that follows still takes out what the means let alias. It returns the means of k x k pixels; those of the last row and column are
// of what is left.
func blocks(ctx context.Context, src *raster.RGB, k int) (*raster.RGB, error) {
	w, h := (src.W()+k-1)/k, (src.H()+k-1)/k
	out := raster.GetRGB(w, h)
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		sums := make([]float32, src.W())
		for y := y0; y < y1; y++ {
			for c, p := range src {
				last := min((y+1)*k, p.H)
				copyFinite(sums, p.Row(y*k))
				for r := y*k + 1; r < last; r++ {
					addRow(sums, p.Row(r))
				}
				meanRow(out[c].Row(y), sums, k, last-y*k)
			}
		}
	})
	if err != nil {
		raster.PutRGB(out)
		return nil, err
	}
	return out, nil
}

func addRow(sums, row []float32) {
	row = row[:len(sums)]
	for x, v := range row {
		if v-v == 0 { // not the undefined
			sums[x] += v
		}
	}
}

// meanRow writes the means of k sums each, every one of them of n pixels.
func meanRow(out, sums []float32, k, n int) {
	whole := len(sums) / k
	norm := 1 / float32(k*n)
	for x := range whole {
		var sum float32
		for _, v := range sums[x*k : x*k+k] {
			sum += v
		}
		out[x] = sum * norm
	}
	if rest := sums[whole*k:]; len(rest) > 0 {
		var sum float32
		for _, v := range rest {
			sum += v
		}
		out[whole] = sum / float32(len(rest)*n)
	}
}
