package bracket

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// coarseShift finds the shift between two frames at the smallest level of their
// pyramids by trying all within a fifth of the picture: the weighted correlation
// of the high-passed logarithms over what both frames see. Logarithms make it blind
// to the exposure, weights to what clips or drowns; unlike median threshold bitmaps
// (Ward 2003) it needs no median that both frames show.
func coarseShift(ctx context.Context, a, b level) (dx, dy int, score float64, err error) {
	ha, err := highPass(ctx, a)
	if err != nil {
		return 0, 0, 0, err
	}
	defer raster.Put(ha)
	hb, err := highPass(ctx, b)
	if err != nil {
		return 0, 0, 0, err
	}
	defer raster.Put(hb)
	r := max(3, min(ha.W, ha.H)/5)
	wa, wb := roots(a.trust), roots(b.trust)
	defer raster.Put(wa, wb)
	scores := make([]float64, (2*r+1)*(2*r+1))
	err = raster.BandsOf(ctx, 2*r+1, 1, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range 2*r + 1 {
				scores[j*(2*r+1)+i] = correlate(ha, wa, hb, wb, i-r, j-r)
			}
		}
	})
	best := r*(2*r+1) + r // no shift wins a draw
	for i, s := range scores {
		if s > scores[best]+1e-9 {
			best = i
		}
	}
	return best%(2*r+1) - r, best/(2*r+1) - r, scores[best], err
}

func highPass(ctx context.Context, l level) (*raster.Plane, error) {
	// A weighted blur, so that clipped and dark areas cast no edge.
	num, den := raster.Get(l.log.W, l.log.H), raster.Get(l.log.W, l.log.H)
	defer raster.Put(num, den)
	for y := range l.log.H {
		n, d, lg, tr := num.Row(y), den.Row(y), l.log.Row(y), l.trust.Row(y)
		for x := range n {
			n[x], d[x] = lg[x]*tr[x], tr[x]
		}
	}
	if err := raster.Gauss(ctx, num, num, 2); err != nil {
		return nil, err
	}
	if err := raster.Gauss(ctx, den, den, 2); err != nil {
		return nil, err
	}
	out := raster.Get(l.log.W, l.log.H)
	for y := range l.log.H {
		n, d, lg, tr, o := num.Row(y), den.Row(y), l.log.Row(y), l.trust.Row(y), out.Row(y)
		for x := range n {
			o[x] = 0
			if tr[x] > 0 && d[x] > 1e-3 {
				o[x] = max(-2, min(2, lg[x]-n[x]/d[x]))
			}
		}
	}
	return out, nil
}

func roots(p *raster.Plane) *raster.Plane {
	out := raster.Get(p.W, p.H)
	for y := range p.H {
		in, o := p.Row(y), out.Row(y)
		for x, v := range in {
			o[x] = float32(math.Sqrt(float64(v)))
		}
	}
	return out
}

// correlate returns the weighted correlation of a(x, y) and b(x+dx, y+dy), drawn
// towards 0 where little is left to compare.
func correlate(a, wa, b, wb *raster.Plane, dx, dy int) float64 {
	var saa, sbb, sab, sw, total float64
	x0, x1 := max(0, -dx), min(a.W, a.W-dx)
	for y := max(0, -dy); y < min(a.H, a.H-dy); y++ {
		ra, qa := a.Row(y)[x0:x1], wa.Row(y)[x0:x1]
		rb, qb := b.Row(y + dy)[x0+dx:x1+dx], wb.Row(y + dy)[x0+dx:x1+dx]
		var aa, bb, ab, ww float32
		for x, va := range ra {
			w := qa[x] * qb[x]
			vb := rb[x]
			ww += w
			aa += w * va * va
			bb += w * vb * vb
			ab += w * va * vb
		}
		saa, sbb, sab, sw = saa+float64(aa), sbb+float64(bb), sab+float64(ab), sw+float64(ww)
	}
	total = float64(a.W*a.H) / (unevenness * unevenness)
	if saa <= 0 || sbb <= 0 {
		return 0
	}
	prior := sw*2e-4 + total*2e-5 // variance that counts as nothing
	return sab / (math.Sqrt((saa + prior) * (sbb + prior)))
}
