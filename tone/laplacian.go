package tone

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// Fast local Laplacian filtering (Aubry, Paris, Hasinoff, Kautz & Durand, ACM
// Trans. Graph. 33, 2014). For levels g spread over the range the whole picture
// is remapped by
//
//	r(i) = curve(i) + (k - curve'(g)) sigma sat((i - g) / sigma)
//
// which near g has the slope k of detail and far from it follows the curve. A
// Laplacian coefficient of the result comes from the remapped picture whose g is
// the local mean, between two of them by interpolation.
const (
	sigma = 0.8 // EV: steps under it are texture, over it are edges
	knots = 0.8 // EV between levels g
)

// presence is the contrast of texture where the curve's slope is one; where it is
// less, texture loses contrast with this power of the slope.
const (
	presence = 1.2
	keep     = 0.25
)

// detail is the contrast of texture at level g. Where the curve is steep
// texture follows it; where it is flat texture keeps more than the curve gives.
func (c toneCurve) detail(g float64) float64 {
	k := max(0.02, c.slope(g))
	if k >= 1 {
		return presence + (k-1)*0.3
	}
	return presence * math.Pow(k, keep)
}

// localTone returns log2 display luminance for lit, log2 luminance above the
// wall.
//
// Texture is what is small in the picture, not in samples: of a plane halved octave
// times from full size the finest level is the octave-th.
func localTone(ctx context.Context, lit *raster.Plane, c toneCurve, octave int) (*raster.Plane, error) {
	detail := detailLevels[min(octave, len(detailLevels)):]
	gauss, err := pyramid(ctx, lit)
	if err != nil {
		return nil, err
	}
	defer raster.Put(gauss[1:]...)
	curved := raster.Get(lit.W, lit.H)
	defer raster.Put(curved)
	if err := bend(ctx, curved, lit, newTable(c.at)); err != nil {
		return nil, err
	}
	out, err := startLevels(ctx, gauss, curved, detail)
	if err != nil {
		return nil, err
	}
	last := len(gauss) - 1
	lo, hi, err := extent(ctx, gauss[0])
	if err != nil {
		return nil, err
	}
	lo, hi = max(lo, -12), min(hi, 12)
	n := max(2, int(math.Ceil((hi-lo)/knots))+1)
	step := (hi - lo) / float64(n-1)
	if step <= 0 {
		step = 1
	}
	for k := range n {
		g := lo + float64(k)*step
		gain := (c.detail(g) - c.slope(g)) * sigma
		remapped := func(y int, row []float32) []float32 {
			remapRow(row, lit.Row(y), curved.Row(y), float32(g), float32(gain))
			return row
		}
		near := func(l int) func(out, gauss, p, up []float32) {
			return func(out, gauss, p, up []float32) {
				addNear(out, gauss, p, up, detail[l], float32(g), 1/float32(step), k == 0, k == n-1)
			}
		}
		rest, err := eachLevel(ctx, out, gauss, remapped, len(detail), near)
		if err != nil {
			return nil, err
		}
		raster.Put(rest)
	}
	for l := last - 1; l >= 0; l-- {
		up, err := raster.Double(ctx, out[l+1], out[l].W, out[l].H)
		if err != nil {
			return nil, err
		}
		err = raster.Bands(ctx, up.H, func(y0, y1 int) {
			to := out[l].Pix[y0*up.W : y1*up.W]
			for i, v := range up.Pix[y0*up.W : y1*up.W] {
				to[i] += v
			}
		})
		raster.Put(up, out[l+1])
		if err != nil {
			return nil, err
		}
	}
	return out[0], nil
}

// pyramid returns p and its halvings down to about 8 samples. Level 0 is p.
func pyramid(ctx context.Context, p *raster.Plane) ([]*raster.Plane, error) {
	levels := []*raster.Plane{p}
	for min(p.W, p.H) > 8 {
		q, err := raster.Halve(ctx, p)
		if err != nil {
			return nil, err
		}
		levels = append(levels, q)
		p = q
	}
	return levels, nil
}

// bend applies the curve to every sample.
func bend(ctx context.Context, dst, src *raster.Plane, base *table) error {
	return raster.Bands(ctx, src.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			out := dst.Row(y)
			for x, v := range src.Row(y)[:len(out)] {
				out[x] = base.at(v)
			}
		}
	})
}

// extent is the least and the greatest sample.
func extent(ctx context.Context, p *raster.Plane) (lo, hi float64, err error) {
	const rows = 64
	ends := make([][2]float32, (p.H+rows-1)/rows)
	err = raster.BandsOf(ctx, p.H, rows, func(y0, y1 int) {
		pix := p.Pix[y0*p.W : y1*p.W]
		a, b := pix[0], pix[0]
		for _, v := range pix {
			if v < a {
				a = v
			}
			if v > b {
				b = v
			}
		}
		ends[y0/rows] = [2]float32{a, b}
	})
	if err != nil {
		return 0, 0, err
	}
	a, b := ends[0][0], ends[0][1]
	for _, e := range ends {
		a, b = min(a, e[0]), max(b, e[1])
	}
	return float64(a), float64(b), nil
}

// remapRow adds to the curved samples what texture near g keeps. It and addNear exist
// twice, as applyRow does.
func remapRow(out, in, base []float32, g, gain float32) {
	n := fastRemap(out, in, base, g, gain)
	remapRowGo(out[n:], in[n:], base[n:], g, gain)
}

func remapRowGo(out, in, base []float32, g, gain float32) {
	in, base = in[:len(out)], base[:len(out)]
	for x, v := range in {
		t := (v - g) * (1 / sigma)
		out[x] = base[x] + gain*t/(1+t*t)
	}
}

// detailLevels is how much of each level, finest first, is kept as texture; the
// rest, and all of the coarser levels, follows the curve. Shading and whole
// objects are no texture: to boost them is to draw halos.
var detailLevels = [...]float32{1, 1, 1, 1, 0.8, 0.4}

// startLevels returns the Laplacian pyramid of curve(lit), less the part of the
// fine levels that the remapped pictures will supply.
func startLevels(ctx context.Context, gauss []*raster.Plane, curved *raster.Plane, detail []float32) ([]*raster.Plane, error) {
	out := make([]*raster.Plane, len(gauss))
	for l, p := range gauss {
		out[l] = raster.Get(p.W, p.H)
	}
	set := func(l int) func(out, gauss, p, up []float32) {
		k := float32(1)
		if l < len(detail) {
			k = 1 - detail[l]
		}
		return func(out, _, p, up []float32) {
			for x := range out {
				out[x] = k * (p[x] - up[x])
			}
		}
	}
	rest, err := eachLevel(ctx, out, gauss, rowsOf(curved), len(gauss), set)
	if err != nil {
		return nil, err
	}
	if rest == nil { // there is but one level
		copy(out[0].Pix, curved.Pix)
		return out, nil
	}
	copy(out[len(out)-1].Pix, rest.Pix)
	raster.Put(rest)
	return out, nil
}

// eachLevel builds the Gaussian pyramid of the plane whose rows row gives and hands fn,
// for each of the first n levels that have a coarser one, the rows of the level and of its
// next coarser one expanded. It returns the level it ends on, which the caller puts back;
// nil when that is the first.
func eachLevel(ctx context.Context, out, gauss []*raster.Plane, row rows, n int, fn func(l int) func(out, gauss, p, up []float32)) (*raster.Plane, error) {
	var p *raster.Plane
	for l := range min(n, len(gauss)-1) {
		to := fn(l)
		small, err := raster.Split(ctx, out[l].W, out[l].H, row, func(y int, row, up []float32) {
			to(out[l].Row(y), gauss[l].Row(y), row, up)
		})
		raster.Put(p)
		if err != nil {
			return nil, err
		}
		p, row = small, rowsOf(small)
	}
	return p, nil
}

// rows gives a plane's rows; it may write one to scratch.
type rows func(y int, scratch []float32) []float32

func rowsOf(p *raster.Plane) rows {
	return func(y int, _ []float32) []float32 { return p.Row(y) }
}

// addNear adds the Laplacian p - up times weight where the local mean is within
// a step of g, in proportion to its nearness.
func addNear(out, gauss, p, up []float32, weight, g, inv float32, first, final bool) {
	n := fastNear(out, gauss, p, up, weight, g, inv, first, final)
	addNearGo(out[n:], gauss[n:], p[n:], up[n:], weight, g, inv, first, final)
}

func addNearGo(out, gauss, p, up []float32, weight, g, inv float32, first, final bool) {
	gauss, p, up = gauss[:len(out)], p[:len(out)], up[:len(out)]
	for x := range out {
		d := (gauss[x] - g) * inv
		if d < 0 {
			d = -d
			if first {
				d = 0
			}
		} else if final {
			d = 0
		}
		if d < 1 {
			out[x] += weight * (1 - d) * (p[x] - up[x])
		}
	}
}

// table holds a function of EV from -24 to 16 in steps of 1/32.
type table struct{ v [40*32 + 2]float32 }

func newTable(f func(float64) float64) *table {
	t := new(table)
	for i := range t.v {
		t.v[i] = float32(f(float64(i)/32 - 24))
	}
	return t
}

func (t *table) at(x float32) float32 {
	u := (x + 24) * 32
	if u < 0 {
		u = 0
	} else if u > 40*32 {
		u = 40 * 32
	}
	i := int(u)
	f := u - float32(i)
	return t.v[i] + (t.v[i+1]-t.v[i])*f
}
