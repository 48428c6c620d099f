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
	l, o := log.Pix, out.Pix
	d, ll, lo := raster.Get(w, h), raster.Get(w, h), raster.Get(w, h)
	ml, mo := raster.Get(w, h), raster.Get(w, h)
	defer raster.Put(d, lo, mo)
	err = raster.Bands(ctx, h, func(y0, y1 int) {
		n, m := y0*w, y1*w
		l, o := l[n:m], o[n:m]
		d, ll, lo := d.Pix[n:m], ll.Pix[n:m], lo.Pix[n:m]
		for i, v := range l {
			e := o[i] - v
			d[i], ll[i], lo[i] = e, v*v, v*e
		}
	})
	// The means of each go to a plane that is free by then.
	for _, p := range [4][2]*raster.Plane{{ml, log}, {mo, d}, {d, ll}, {ll, lo}} {
		if err == nil {
			err = raster.Box(ctx, p[0], p[1], guideRadius)
		}
	}
	if err != nil {
		raster.Put(ml, ll)
		return nil, nil, err
	}
	err = raster.Bands(ctx, h, func(y0, y1 int) {
		for i := y0 * w; i < y1*w; i++ {
			k := (ll.Pix[i] - ml.Pix[i]*mo.Pix[i]) / (max(0, d.Pix[i]-ml.Pix[i]*ml.Pix[i]) + guideEps)
			mo.Pix[i] -= k * ml.Pix[i]
			d.Pix[i] = k
		}
	})
	a, b = ml, ll
	if err == nil {
		err = raster.Box(ctx, a, d, guideRadius)
	}
	if err == nil {
		err = raster.Box(ctx, b, mo, guideRadius)
	}
	return a, b, err
}
