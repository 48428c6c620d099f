package dust

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// measure finds a candidate's shadow: at each distance the median over the views
// that are smooth there of the mean lack of light.
func (f *Finder) measure(c candidate) (Spot, bool) {
	bins := c.r + 1
	byBin := make([][]float64, bins)
	views := 0
	for _, p := range f.planes {
		lack, ok := profileOf(p, c, bins)
		if !ok {
			continue
		}
		if lack[0] < -faintest/2 {
			views++
		}
		for b, v := range lack {
			byBin[b] = append(byBin[b], v)
		}
	}
	if len(byBin[0]) < fewest || views < fewest {
		return Spot{}, false
	}
	w := float64(f.planes[0].W)
	s := Spot{X: (float64(c.x) + 0.5) / w, Y: (float64(c.y) + 0.5) / w, Radius: float64(c.r) / w, Views: views}
	last := -math.MaxFloat64
	for b := range byBin {
		slices.Sort(byBin[b])
		v := min(0, byBin[b][len(byBin[b])/2])
		v = max(v, last) // a shadow only gets lighter outwards
		if b == 0 {
			v = min(0, byBin[0][len(byBin[0])/2])
		}
		last = v
		s.Shade = append(s.Shade, v)
	}
	s.Shade[bins-1] = 0
	if s.Depth() < faintest || s.Shade[bins/2] < 0.85*s.Shade[0] {
		return Spot{}, false // too faint, or an edge rather than a spot
	}
	return s, true
}

// profileOf is what a view lacks around a candidate at each whole distance, against
// the plane through the ring around it; ok is false where the ring is rough.
func profileOf(p *raster.Plane, c candidate, bins int) (lack []float64, ok bool) {
	outer := c.r + max(2, c.r/2)
	var n, sx, sy, sv, sxx, syy, sxv, syv, svv float64
	each := func(fn func(dx, dy int, d float64, v float64)) {
		for dy := -outer; dy <= outer; dy++ {
			for dx := -outer; dx <= outer; dx++ {
				if x, y := c.x+dx, c.y+dy; x >= 0 && y >= 0 && x < p.W && y < p.H {
					if d := math.Hypot(float64(dx), float64(dy)); d <= float64(outer) {
						fn(dx, dy, d, float64(p.Row(y)[x]))
					}
				}
			}
		}
	}
	each(func(dx, dy int, d, v float64) {
		if d >= float64(c.r) {
			x, y := float64(dx), float64(dy)
			n++
			sx, sy, sv = sx+x, sy+y, sv+v
			sxx, syy, sxv, syv, svv = sxx+x*x, syy+y*y, sxv+x*v, syv+y*v, svv+v*v
		}
	})
	mean := sv / n
	gx, gy := (sxv-sx*mean)/sxx, (syv-sy*mean)/syy // the ring is symmetrical
	if svv/n-mean*mean > smooth*smooth {
		return nil, false
	}
	lack, count := make([]float64, bins), make([]float64, bins)
	each(func(dx, dy int, d, v float64) {
		if b := int(math.Round(d)); b < bins {
			lack[b] += v - mean - gx*float64(dx) - gy*float64(dy)
			count[b]++
		}
	})
	for b := range lack {
		lack[b] /= count[b]
	}
	return lack, true
}

// Mend takes the shadows out of a view, in place: linear light, as the sensor lies.
func Mend(ctx context.Context, img *raster.RGB, spots []Spot) error {
	w := float64(img.W())
	for _, s := range spots {
		if err := ctx.Err(); err != nil {
			return err
		}
		x0, x1 := max(0, int((s.X-s.Radius)*w)), min(img.W(), int((s.X+s.Radius)*w)+1)
		y0, y1 := max(0, int((s.Y-s.Radius)*w)), min(img.H(), int((s.Y+s.Radius)*w)+1)
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				gain := raster.Exp2(float32(-s.at(math.Hypot((float64(x)+0.5)/w-s.X, (float64(y)+0.5)/w-s.Y))))
				for _, p := range img {
					p.Row(y)[x] *= gain
				}
			}
		}
	}
	return nil
}

// at is the shade at a distance, between the measured ones in a straight line.
func (s Spot) at(d float64) float64 {
	f := d / s.Radius * float64(len(s.Shade)-1)
	i := int(f)
	if i >= len(s.Shade)-1 {
		return 0
	}
	return s.Shade[i] + (f-float64(i))*(s.Shade[i+1]-s.Shade[i])
}
