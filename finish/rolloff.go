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
// and at the second nothing of it is left. A sensor's channel that clips alone stays near
// 1; what is mended beyond that is a guess of a neutral under the camera's setting. A
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
	most, out := raster.Get(img.W(), img.H()), raster.Get(img.W(), img.H())
	defer raster.Put(most)
	found := make([]bool, img.H())
	err := raster.Bands(ctx, img.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r, t := img[0].Row(y), most.Row(y)
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
			found[y] = c.doubtRow(out.Row(y), t)
		}
	})
	if err == nil && slices.Contains(found, true) {
		if err = calm(ctx, out, most); err == nil {
			return out, nil
		}
	}
	raster.Put(out)
	return nil, err
}

// doubtRow is the doubt about the colours of pixels by the share of clipping in their
// strongest channels. It says whether there is any.
func (c ceiling) doubtRow(dst, most []float32) (any bool) {
	most = most[:len(dst)]
	for x, v := range most {
		dst[x] = 0
		if v > doubtFrom {
			d := (v - doubtFrom) * (1 / (c.gone - doubtFrom))
			if d > 1 {
				d = 1
			}
			dst[x] = d * d * (3 - 2*d)
			any = true
		}
	}
	return any
}

// Where a sky reaches clipping slowly, noise takes one pixel over the edge and leaves
// the next one under it: white speckles in blue. So a pixel that is near clipping itself
// is doubted as much as its neighbours on the whole are, and half of them are enough.
const (
	nearFrom = 0.6
	calmedBy = 900 // part of the long side that neighbours lie within
)

func calm(ctx context.Context, doubt, most *raster.Plane) error {
	around := raster.Get(doubt.W, doubt.H)
	defer raster.Put(around)
	if err := raster.Box(ctx, around, doubt, max(1, max(doubt.W, doubt.H)/calmedBy)); err != nil {
		return err
	}
	return raster.Bands(ctx, doubt.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			d, a, m := doubt.Row(y), around.Row(y), most.Row(y)
			a, m = a[:len(d)], m[:len(d)]
			for x, v := range a {
				near := (m[x] - nearFrom) * (1 / (doubtFrom - nearFrom))
				if near <= 0 || v <= 0 {
					continue
				}
				if v = 2 * v; v > 1 {
					v = 1
				}
				if near < 1 {
					v *= near
				}
				if v > d[x] {
					d[x] = v
				}
			}
		}
	})
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
