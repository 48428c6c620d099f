package bracket

import (
	"context"

	"mullion/colour"
	"mullion/internal/raster"
)

// toBT2020 takes a linear image of a file's profile to BT.2020 in place.
func toBT2020(ctx context.Context, m *raster.RGB, k colour.Mat3) error {
	if k == (colour.Mat3{}) || k == colour.Identity {
		return ctx.Err()
	}
	var f [3][3]float32
	for i := range k {
		for j := range k[i] {
			f[i][j] = float32(k[i][j])
		}
	}
	return raster.Bands(ctx, m.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r, g, b := m[0].Row(y), m[1].Row(y), m[2].Row(y)
			for x := range r {
				u, v, w := r[x], g[x], b[x]
				r[x] = f[0][0]*u + f[0][1]*v + f[0][2]*w
				g[x] = f[1][0]*u + f[1][1]*v + f[1][2]*w
				b[x] = f[2][0]*u + f[2][1]*v + f[2][2]*w
			}
		}
	})
}
