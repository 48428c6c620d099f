package tone

import (
	"context"

	"mullion/internal/raster"
)

const (
	guideRadius = 2
	guideEps    = 0.01 // EV^2
)

// fitGain fits out - log as a local linear function a log + b.
func fitGain(ctx context.Context, log, out *raster.Plane) (a, b *raster.Plane, err error) {
	return raster.Guide(ctx, log, guideRadius, guideEps, func(y int, gain []float32) []float32 {
		o := out.Row(y)[:len(gain)]
		for x, v := range log.Row(y)[:len(gain)] {
			gain[x] = o[x] - v
		}
		return gain
	})
}
