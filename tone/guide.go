package tone

import (
	"context"

	"mullion/internal/raster"
)

const (
	guideRadius = 2
	guideEps    = 0.01 // EV^2
)

// fitGain fits out - log as a local linear function a log + b: the guided filter
// of He, Sun & Tang (2013).
func fitGain(ctx context.Context, log, out *raster.Plane) (a, b *raster.Plane, err error) {
	w, h := log.W, log.H
	mean := func(dst *raster.Plane, fn func(i int) float32) *raster.Plane {
		p := raster.Get(w, h)
		e := raster.Bands(ctx, h, func(y0, y1 int) {
			for i := y0 * w; i < y1*w; i++ {
				p.Pix[i] = fn(i)
			}
		})
		if e == nil {
			e = raster.Box(ctx, dst, p, guideRadius)
		}
		if e != nil {
			err = e
		}
		raster.Put(p)
		return dst
	}
	l, o := log.Pix, out.Pix
	ml := mean(raster.Get(w, h), func(i int) float32 { return l[i] })
	mo := mean(raster.Get(w, h), func(i int) float32 { return o[i] - l[i] })
	ll := mean(raster.Get(w, h), func(i int) float32 { return l[i] * l[i] })
	lo := mean(raster.Get(w, h), func(i int) float32 { return l[i] * (o[i] - l[i]) })
	if err != nil {
		return nil, nil, err
	}
	err = raster.Bands(ctx, h, func(y0, y1 int) {
		for i := y0 * w; i < y1*w; i++ {
			k := (lo.Pix[i] - ml.Pix[i]*mo.Pix[i]) / (max(0, ll.Pix[i]-ml.Pix[i]*ml.Pix[i]) + guideEps)
			mo.Pix[i] -= k * ml.Pix[i]
			ll.Pix[i] = k
		}
	})
	a, b = ml, lo
	if err == nil {
		err = raster.Box(ctx, a, ll, guideRadius)
	}
	if err == nil {
		err = raster.Box(ctx, b, mo, guideRadius)
	}
	raster.Put(mo, ll)
	return a, b, err
}
