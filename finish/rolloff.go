package finish

import (
	"context"

	"mullion/internal/raster"
)

// ceiling is where a scene's measured luminance ends: from First on some channel of
// a white surface clips in every frame, from Last on all of them do. Zero means that
// nothing is known.
type ceiling struct{ First, Last float32 }

// The weights of BT.2020 for luminance (Recommendation ITU-R BT.2020, table 4).
const lumR, lumG, lumB = 0.2627, 0.6780, 0.0593

// rollOff takes the colour out of what is brighter than the bracket could measure, in
// place, after balancing. What clips has no colour that was measured: what is left of
// it is the guess of a neutral under the camera's setting, which balancing then turns
// towards orange at a window and towards blue at a lamp. Film and eye both see such
// light as white. The luminance stays.
func (c ceiling) rollOff(ctx context.Context, img *raster.RGB) error {
	if c.First <= 0 {
		return nil
	}
	lo, hi := 0.75*c.First, 0.95*c.Last
	scale := 1 / (hi - lo)
	return raster.Bands(ctx, img.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r := img[0].Row(y)
			g, b := img[1].Row(y)[:len(r)], img[2].Row(y)[:len(r)]
			for x := range r {
				l := lumR*r[x] + lumG*g[x] + lumB*b[x]
				if l <= lo {
					continue
				}
				t := (l - lo) * scale
				if t > 1 {
					t = 1
				}
				t = t * t * (3 - 2*t)
				r[x] += t * (l - r[x])
				g[x] += t * (l - g[x])
				b[x] += t * (l - b[x])
			}
		}
	})
}
