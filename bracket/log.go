package bracket

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// level is one size of the pyramid that frames are aligned on: log2 of the light
// and how far each sample can be trusted (1/variance of the logarithm, 0 where it
// clips or drowns in noise).
type level struct{ log, trust *raster.Plane }

// unevenness is the standard deviation, in log2, of what two frames differ by for
// other reasons than noise: their sites' unevenness, flare, the pixel grid.
const unevenness = 0.03

// logTable is log2 of the mantissa in 4096 steps.
var logTable = func() (t [4096]float32) {
	for i := range t {
		t[i] = float32(math.Log2(1 + (float64(i)+0.5)/4096))
	}
	return t
}()

// log2 is accurate to 2e-4, which no alignment notices. x must be positive.
func log2(x float32) float32 {
	b := math.Float32bits(x)
	return float32(int32(b>>23)-127) + logTable[(b>>11)&4095]
}

// pyramid returns the levels of a proof, finest first, down to about 48 samples.
func (p *proof) pyramid(ctx context.Context) ([]level, error) {
	l, err := p.levelZero(ctx)
	if err != nil {
		return nil, err
	}
	all := []level{l}
	for l.log.W > 90 && l.log.H > 60 {
		lg, err := raster.Halve(ctx, l.log)
		if err != nil {
			return nil, err
		}
		tr, err := raster.Halve(ctx, l.trust)
		if err != nil {
			return nil, err
		}
		l = level{lg, tr}
		all = append(all, l)
	}
	return all, nil
}

func releaseLevels(all []level) {
	for _, l := range all {
		raster.Put(l.log, l.trust)
	}
}

func (p *proof) levelZero(ctx context.Context) (level, error) {
	w, h := p.lin.W, p.lin.H
	l := level{raster.Get(w, h), raster.Get(w, h)}
	// Below the floor the logarithm is only noise: it is bent to a constant.
	floor := float32(math.Sqrt(float64(p.o))) + 1e-5
	const c2 = unevenness * unevenness
	const perLog = 1.4427 * 1.4427 // (d log2 x / d ln x)^2
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			in, lg, tr := p.lin.Row(y), l.log.Row(y), l.trust.Row(y)
			for x, v := range in {
				if v >= 0.95 {
					lg[x], tr[x] = 0, 0
					continue
				}
				if v < floor {
					lg[x], tr[x] = log2(floor), 0
					continue
				}
				lg[x] = log2(v)
				rel := (p.s*v + p.o) / (v * v)
				if rel > 0.06 {
					tr[x] = 0
				} else {
					tr[x] = 1 / (rel*perLog + c2)
				}
			}
		}
	})
	return l, err
}

func sqrt(v float32) float32 { return float32(math.Sqrt(float64(v))) }
