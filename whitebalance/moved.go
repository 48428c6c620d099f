package whitebalance

import "mullion/internal/raster"

// Moved is the light of the same view in another framing: at leads from a place of the
// new picture to one of the picture that was measured, both in shares of width and height.
// Beyond that picture's border the light is taken to be as at the border. e is not changed.
// What Apply needs of the light is made here, on one core, where there may be time for it.
func (e *Estimate) Moved(at func(x, y float64) (float64, float64)) *Estimate {
	out := *e
	f := e.field
	if f.w*f.h <= 1 {
		return &out
	}
	moved := raster.Sample(at)
	to := field{w: f.w, h: f.h, plane: [2]*raster.Plane{raster.New(f.w, f.h), raster.New(f.w, f.h)}}
	if f.guide != nil {
		to.guide = make([][3]float32, len(f.guide))
	}
	for y := range f.h {
		for x := range f.w {
			px, py := moved.At((float64(x)+0.5)/float64(f.w), (float64(y)+0.5)/float64(f.h))
			// The nearest, not a mean: where the light jumps it has to go on jumping.
			from := int(clamp(py*float64(f.h), float64(f.h-1)))*f.w + int(clamp(px*float64(f.w), float64(f.w-1)))
			k := y*f.w + x
			for c := range to.plane {
				to.plane[c].Pix[k] = f.plane[c].Pix[from]
			}
			if to.guide != nil {
				to.guide[k] = f.guide[from]
			}
		}
	}
	out.field = to
	out.gains = out.newGains()
	out.gains.make(0, len(out.gains.node), &out)
	return &out
}
