package finish

import (
	"context"
	"slices"

	"mullion/colour"
	"mullion/internal/raster"
)

// ceiling is where a bracket's measurement ends: the value at which a channel of the
// darkest frame clips, and the way from scene colour back to those channels. The zero
// value knows of no end.
type ceiling struct {
	toCamera colour.Mat3
	clip     float32
	gone     float32 // the share of clipping from which nothing is left of a colour
}

// From this share of clipping in its strongest channel on a pixel's colour is in doubt,
// and at the second nothing of it is left. What a sensor's channel that clips alone is
// mended to goes on from what is measured beside it, but further on it is a guess. A
// rendered file has nothing beyond 1, and near it the camera has faded colours already.
const doubtFrom, doubtTo, doubtRendered = 0.82, 1.18, 1.0

func gone(rendered bool) float32 {
	if rendered {
		return doubtRendered
	}
	return doubtTo
}

// doubt returns how little of each pixel's colour was measured, 0 to 1. It goes before
// balancing, which the camera's channels know nothing of. It returns nil when nothing
// clips.
func (c ceiling) doubt(ctx context.Context, img *raster.RGB) (*raster.Plane, error) {
	if c.clip <= 0 {
		return nil, nil
	}
	var m [3][3]float32
	for i := range 3 {
		for j := range 3 {
			m[i][j] = float32(c.toCamera[i][j]) / c.clip
		}
	}
	out := raster.Get(img.W(), img.H())
	found := make([]bool, img.H())
	err := raster.Bands(ctx, img.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r, t := img[0].Row(y), out.Row(y)
			g, b := img[1].Row(y)[:len(r)], img[2].Row(y)[:len(r)]
			t = t[:len(r)]
			for x := range r {
				v := m[0][0]*r[x] + m[0][1]*g[x] + m[0][2]*b[x]
				if u := m[1][0]*r[x] + m[1][1]*g[x] + m[1][2]*b[x]; u > v {
					v = u
				}
				if u := m[2][0]*r[x] + m[2][1]*g[x] + m[2][2]*b[x]; u > v {
					v = u
				}
				t[x] = v
			}
			found[y] = c.doubtRow(t)
		}
	})
	if err == nil && slices.Contains(found, true) {
		return out, nil
	}
	raster.Put(out)
	return nil, err
}

// doubtRow replaces the shares of clipping in pixels' strongest channels by the doubt
// about their colours. It says whether there is any.
func (c ceiling) doubtRow(row []float32) (any bool) {
	for x, v := range row {
		row[x] = 0
		if v > doubtFrom {
			d := (v - doubtFrom) * (1 / (c.gone - doubtFrom))
			if d > 1 {
				d = 1
			}
			row[x] = d * d * (3 - 2*d)
			any = true
		}
	}
	return any
}

// The weights of BT.2020 for luminance (Recommendation ITU-R BT.2020, table 4).
const lumR, lumG, lumB = 0.2627, 0.6780, 0.0593

// rollOff takes the colour out of a balanced picture in place, as far as it is in doubt.
// Balancing would turn the guess towards orange at a window and towards blue at a lamp;
// film and eye both see such light as white. The luminance stays.
func rollOff(ctx context.Context, img *raster.RGB, doubt *raster.Plane) error {
	if doubt == nil {
		return nil
	}
	return raster.Bands(ctx, img.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			d := doubt.Row(y)
			r, g, b := img[0].Row(y)[:len(d)], img[1].Row(y)[:len(d)], img[2].Row(y)[:len(d)]
			for x, t := range d {
				if t <= 0 {
					continue
				}
				l := lumR*r[x] + lumG*g[x] + lumB*b[x]
				r[x] += t * (l - r[x])
				g[x] += t * (l - g[x])
				b[x] += t * (l - b[x])
			}
		}
	})
}
