package window

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// The reduced mask is carried to full size by the fast guided filter (He & Sun,
// arXiv 1505.00996): around every point coverage is a linear function a L + b of
// log luminance, fitted at reduced size. A glazing bar narrower than a reduced
// pixel, dark before the sky, falls out of the map by itself.
const (
	guideRadius = 4    // reduced pixels
	guideEps    = 0.05 // EV^2: steps well under 0.2 EV are no edges
)

// fill writes the group's part of the reduced mask: its pixels, and within its
// hull the darker parts of the view, as long as they are brighter than what the
// room's light could make of a wall. Of what is darker, that which hangs together
// with the frame is a bar or a thing in front of the glass; an island is a leaf or a
// roof outside.
func (s *scene) fill(g *group, mask *raster.Plane) {
	for _, i := range g.pix {
		mask.Pix[i] = 1
	}
	h := hull(g.pix, s.w)
	dark, rim := make([]bool, s.w*s.h), make([]bool, s.w*s.h)
	for y := g.y0; y < g.y1; y++ {
		x0, x1 := hullSpan(h, y)
		for x := x0; x <= x1; x++ {
			i := y*s.w + x
			c := float32(ramp(float64(s.log.Pix[i])-s.room, 0.8, 1.6))
			if c > mask.Pix[i] {
				mask.Pix[i] = c
			}
			dark[i] = mask.Pix[i] < 1
			rim[i] = x <= x0+1 || x >= x1-1 || y <= g.y0+1 || y >= g.y1-2
		}
	}
	for _, island := range components(dark, dark, s.w, s.h) {
		if slices.ContainsFunc(island, func(i int32) bool { return rim[i] }) {
			continue
		}
		for _, i := range island {
			mask.Pix[i] = 1
		}
	}
}

// hullSpan returns the first and last column of a convex polygon on row y.
func hullSpan(h []point, y int) (int, int) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, a := range h {
		b := h[(i+1)%len(h)]
		if (a.y > y) == (b.y > y) && a.y != y && b.y != y {
			continue
		}
		if a.y == b.y {
			if a.y == y {
				lo, hi = min(lo, float64(min(a.x, b.x))), max(hi, float64(max(a.x, b.x)))
			}
			continue
		}
		x := float64(a.x) + float64(b.x-a.x)*float64(y-a.y)/float64(b.y-a.y)
		lo, hi = min(lo, x), max(hi, x)
	}
	if lo > hi {
		return 0, -1
	}
	return int(math.Ceil(lo - 1e-9)), int(math.Floor(hi + 1e-9))
}

// coverage carries the reduced mask to the size of img.
func (s *scene) coverage(ctx context.Context, img *raster.RGB, mask *raster.Plane, any bool) (*raster.Plane, error) {
	out := raster.Get(img.W(), img.H())
	if !any {
		out.Fill(0)
		return out, ctx.Err()
	}
	a, b, err := raster.Guide(ctx, s.log, guideRadius, guideEps, func(y int, _ []float32) []float32 { return mask.Row(y) })
	if err != nil {
		return nil, err
	}
	defer raster.Put(a, b)
	lamp := s.lampPlane()
	defer raster.Put(lamp)
	cols := newLerp(s.w, img.W())
	rows := newLerp(s.h, img.H())
	err = raster.Bands(ctx, img.H(), func(y0, y1 int) {
		ra, rb, rl := make([]float32, s.w), make([]float32, s.w), make([]float32, s.w)
		for y := y0; y < y1; y++ {
			if rows.blend(y, a, ra)|rows.blend(y, b, rb) == 0 {
				clear(out.Row(y))
				continue
			}
			cols.cover(out.Row(y), img[0].Row(y), img[1].Row(y), img[2].Row(y), ra, rb)
			if rows.blend(y, lamp, rl) != 0 {
				cols.cutOut(out.Row(y), rl)
			}
		}
	})
	return out, err
}

func abs32(x float32) float32 {
	if x < 0 {
		return -x
	}
	return x
}

// lerp holds the two source samples and the weight for each of n positions.
type lerp struct {
	at   []int32
	frac []float32
	from int
}

func newLerp(from, to int) lerp {
	l := lerp{make([]int32, to), make([]float32, to), from}
	for i := range to {
		x := (float64(i)+0.5)*float64(from)/float64(to) - 0.5
		x = max(0, min(float64(from-1), x))
		k := min(int(x), max(0, from-2))
		l.at[i], l.frac[i] = int32(k), float32(x-float64(k))
	}
	return l
}

// blend writes row y of the enlarged plane at the plane's own width, and reports
// 0 when all of it is zero.
func (l lerp) blend(y int, p *raster.Plane, dst []float32) int {
	k, f := int(l.at[y]), l.frac[y]
	r0, r1 := p.Row(k), p.Row(min(p.H-1, k+1))
	some := 0
	for x := range dst {
		dst[x] = r0[x] + (r1[x]-r0[x])*f
		if dst[x] != 0 {
			some = 1
		}
	}
	return some
}

func (l lerp) cover(dst, r, g, b, ra, rb []float32) {
	last := int32(len(ra) - 1)
	r, g, b = r[:len(dst)], g[:len(dst)], b[:len(dst)]
	for x := range dst {
		k, f := l.at[x], l.frac[x]
		k1 := min(k+1, last)
		a := ra[k] + (ra[k1]-ra[k])*f
		o := rb[k] + (rb[k1]-rb[k])*f
		if a == 0 && o == 0 {
			dst[x] = 0
			continue
		}
		y := 0.2627*r[x] + 0.6780*g[x] + 0.0593*b[x]
		c := a*log2(y) + o
		c = (c - 0.15) * (1 / 0.7)
		if c < 0 {
			c = 0
		} else if c > 1 {
			c = 1
		}
		dst[x] = c * c * (3 - 2*c)
	}
}

// cutOut takes the lamps out of a row of coverage.
func (l lerp) cutOut(dst, lamp []float32) {
	last := int32(len(lamp) - 1)
	for x := range dst {
		k := l.at[x]
		v := lamp[k] + (lamp[min(k+1, last)]-lamp[k])*l.frac[x]
		if v > 0 {
			dst[x] *= 1 - v
		}
	}
}

// log2 to 0.001 EV: the exponent from the bits, the mantissa by a ratio of
// polynomials (Pade form around sqrt 2 of the logarithm).
func log2(x float32) float32 {
	if x < floor {
		x = floor
	}
	u := math.Float32bits(x)
	e := float32(int32(u>>23) - 127)
	m := math.Float32frombits(u&0x7fffff | 0x3f800000)
	t := (m - 1.41421356) / (m + 1.41421356)
	t2 := t * t
	return e + 0.5 + t*(2.8853901+t2*(0.96179669+t2*0.57707802))
}
