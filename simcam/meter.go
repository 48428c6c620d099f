package simcam

import (
	"context"
	"errors"
	"math"

	"mullion/internal/raster"
)

// Meter returns the speed that a camera's light meter would choose for the scene
// (linear BT.2020, 1.0 = 100 cd/m2, upright), and the mean luminance in cd/m2 it
// chose it from. The mean is weighted towards the centre, and highlights count
// at most six times the median, so that a window doesn't darken the room. The
// time follows from t = K N^2 / (S L) with the reflected-light constant
// K = 12.5 of ISO 2720.
func Meter(ctx context.Context, scene *raster.RGB, iso, fnumber float64) (Shutter, float64, error) {
	w, h := scene.W(), scene.H()
	if w == 0 || h == 0 {
		return 0, 0, errors.New("metering: the scene has no pixels")
	}
	lum := raster.Get(w, h)
	defer raster.Put(lum)
	ky := xyzFromBT2020[1]
	kr, kg, kb := float32(100*ky[0]), float32(100*ky[1]), float32(100*ky[2])
	if err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			out, r, g, b := lum.Row(y), scene[0].Row(y), scene[1].Row(y), scene[2].Row(y)
			r, g, b = r[:len(out)], g[:len(out)], b[:len(out)]
			for x := range out {
				out[x] = kr*r[x] + kg*g[x] + kb*b[x]
			}
		}
	}); err != nil {
		return 0, 0, err
	}
	mean := centreMean(lum, float32(6*quantile(lum, 0.5)))
	if !(mean > 0) || math.IsInf(mean, 0) {
		return 0, 0, errors.New("metering: the scene is black or not finite")
	}
	t := 12.5 * fnumber * fnumber / (iso * mean)
	k := int(math.RoundToEven(3 * math.Log2(t)))
	return Shutter(max(shortest, min(longest, k))), mean, nil
}

// centreMean is the mean of min(sample, ceiling) under a Gaussian of standard
// deviation 0.27 of the picture's width and height.
func centreMean(p *raster.Plane, ceiling float32) float64 {
	gx, gy := bell(p.W), bell(p.H)
	var sum, weight float64
	for y := range p.H {
		var s, n float64
		for x, v := range p.Row(y) {
			if v > ceiling {
				v = ceiling
			}
			s += gx[x] * float64(v)
			n += gx[x]
		}
		sum += gy[y] * s
		weight += gy[y] * n
	}
	return sum / weight
}

func bell(n int) []float64 {
	g := make([]float64, n)
	for i := range g {
		d := (float64(i)/float64(n) - .5) / .38
		g[i] = math.Exp(-d * d)
	}
	return g
}
