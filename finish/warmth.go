package finish

import (
	"context"
	"math"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/shoot"
)

// The light may be taken for any colour temperature between these, in kelvin.
const highest, lowestKelvin = 25000, 1700

// warms reports whether anything was decided about warmth.
func warms(d shoot.Decisions) bool { return d.RoomWarmth != nil || d.WindowWarmth != nil }

// warm carries out what was decided about the light that counts as white: factors for
// R, G and B indoors and others behind glass, blended by the coverage. Balancing
// scales the same channels, so that the two together are one balance for another light.
// The result goes to dst, which may be the picture's own radiance.
func (p *picture) warm(ctx context.Context, dst *raster.RGB, glass *raster.Plane, d shoot.Decisions) error {
	room, window := p.whites(d)
	in := factors(p.roomLight(), room)
	out := factors(p.light.Window, window)
	return raster.Bands(ctx, dst.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for c := range dst {
				to := dst[c].Row(y)
				from := p.rgb[c].Row(y)[:len(to)]
				if glass == nil {
					for x, v := range from {
						to[x] = v * in[c]
					}
					continue
				}
				g := glass.Row(y)[:len(to)]
				k := out[c] - in[c]
				for x, v := range from {
					to[x] = v * (in[c] + k*g[x])
				}
			}
		}
	})
}

func (p *picture) roomLight() colour.XY { return colour.Light(p.light.Kelvin, p.light.Duv) }

// whites are the lights that count as white indoors and behind glass, as measured and
// then as decided.
func (p *picture) whites(d shoot.Decisions) (room, window colour.XY) {
	return shifted(p.roomLight(), d.RoomWarmth), shifted(p.light.Window, d.WindowWarmth)
}

// shifted is the light xy after a change.
func shifted(xy colour.XY, w *shoot.Warmth) colour.XY {
	if w == nil || w.Mired == 0 && w.Duv == 0 {
		return xy
	}
	k, duv := colour.CCT(xy)
	k = 1e6 / max(1e6/highest, min(1e6/lowestKelvin, 1e6/k-w.Mired))
	return colour.Light(k, duv+w.Duv)
}

// factors take a picture balanced for one light to the balance for another, and keep
// the luminance of white.
func factors(from, to colour.XY) [3]float32 {
	a, b := white(from), white(to)
	var f colour.Vec3
	for i := range f {
		f[i] = a[i] / b[i]
	}
	l := lumR*f[0] + lumG*f[1] + lumB*f[2]
	var out [3]float32
	for i := range out {
		out[i] = float32(f[i] / l)
	}
	return out
}

// white is the linear BT.2020 colour of a white surface under a light.
func white(xy colour.XY) colour.Vec3 {
	rgb := colour.XYZToBT2020.Apply(xy.XYZ())
	for i := range rgb {
		rgb[i] = math.Max(rgb[i], 1e-3)
	}
	return rgb
}

// warmthTo is the change that takes the light xy for kelvin and duv.
func warmthTo(xy colour.XY, kelvin, duv float64) shoot.Warmth {
	k, d := colour.CCT(xy)
	return shoot.Warmth{Mired: round(1e6/k-1e6/kelvin, 2), Duv: round(duv-d, 5)}
}
