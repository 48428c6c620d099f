package dust

import (
	"context"
	"math"

	"mullion/internal/raster"
)

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
