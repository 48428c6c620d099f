package denoise

import (
	"context"
	"math/rand/v2"

	"mullion/internal/raster"
)

// Spectrum is the noise of unit variance a sample by scale, frequency and channel:
// what interpolation has made of it. Interpolated noise is soft and shared between the
// channels, and to take it for white would leave its coarse part in and take too much
// of the fine.
type Spectrum struct {
	// cross holds, by scale and by the 64 cosine coefficients of a block, the
	// covariances of the channels: rr, gg, bb, rg, rb, gb.
	cross [scales][64][6]float32
}

// White is the spectrum of noise that was never interpolated.
func White(ctx context.Context) (*Spectrum, error) {
	n := raster.GetRGB(spectrumSide, spectrumSide)
	defer raster.PutRGB(n)
	for c := range n {
		gaussian(n[c], uint64(c), 0, 1)
	}
	return measure(ctx, n)
}

// Interpolated is the spectrum of the noise of a mosaic after interpolation. The
// function is called once, with a mosaic of mean 1 and a noise of 1 %.
func Interpolated(ctx context.Context, interpolate func(context.Context, *raster.Plane) (*raster.RGB, error)) (*Spectrum, error) {
	const sd = 0.01
	m := raster.Get(spectrumSide, spectrumSide)
	defer raster.Put(m)
	gaussian(m, 7, 1, sd)
	n, err := interpolate(ctx, m)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(n)
	for c := range n {
		for i, v := range n[c].Pix {
			n[c].Pix[i] = (v - 1) / sd
		}
	}
	return measure(ctx, n)
}

// spectrumSide is the side of the field of noise that is measured: on the coarsest of
// four scales it still holds 100 blocks apart.
const spectrumSide = 640

func gaussian(p *raster.Plane, seed uint64, mean, sd float32) {
	rng := rand.New(rand.NewPCG(seed, 20111998))
	for i := range p.Pix {
		p.Pix[i] = mean + sd*float32(rng.NormFloat64())
	}
}

// measure takes the noise through the scales as a picture goes.
func measure(ctx context.Context, n *raster.RGB) (*Spectrum, error) {
	s := &Spectrum{}
	for l := range scales {
		var half *raster.RGB
		rest := n
		if l < scales-1 {
			half = halve(n)
			rest = n.Clone()
			for c := range rest {
				row := make([]float32, rest.W())
				for y := range rest.H() {
					clear(row)
					addDoubled(row, half[c], 0, y, -1)
					for x, v := range row {
						rest[c].Row(y)[x] += v
					}
				}
			}
		}
		s.blocks(rest, l)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		n = half
	}
	return s, nil
}

// blocks measures one scale. A coefficient and its mirror image across the diagonal
// are one, since rows and columns are interpolated alike.
func (s *Spectrum) blocks(n *raster.RGB, l int) {
	var sum [64][6]float64
	count := 0.0
	var b [3][64]float32
	for y := 8; y+16 <= n.H(); y += 4 {
		for x := 8; x+16 <= n.W(); x += 4 {
			for c := range b {
				for j := range 8 {
					copy(b[c][8*j:8*j+8], n[c].Row(y + j)[x:])
				}
				forward(&b[c])
			}
			for i := range 64 {
				r, g, bl := float64(b[0][i]), float64(b[1][i]), float64(b[2][i])
				for k, v := range [6]float64{r * r, g * g, bl * bl, r * g, r * bl, g * bl} {
					sum[i][k] += v
				}
			}
			count++
		}
	}
	for j := range 8 {
		for i := range 8 {
			for k := range 6 {
				s.cross[l][8*j+i][k] = float32((sum[8*j+i][k] + sum[8*i+j][k]) / (2 * count))
			}
		}
	}
}

// along is the variance of the noise along a direction of colour, by coefficient.
func (s *Spectrum) along(l int, d [3]float32) (v [64]float32) {
	for i, c := range s.cross[l] {
		v[i] = d[0]*d[0]*c[0] + d[1]*d[1]*c[1] + d[2]*d[2]*c[2] +
			2*(d[0]*d[1]*c[3]+d[0]*d[2]*c[4]+d[1]*d[2]*c[5])
	}
	return v
}
