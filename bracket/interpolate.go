package bracket

import (
	"context"

	"mullion/internal/raster"
)

// interpolate is the linear 5 x 5 filter of Malvar, He & Cutler ("High-quality
// linear interpolation for demosaicing of Bayer-patterned color images", ICASSP
// 2004). It stands in when the caller gives no interpolation.
func interpolate(ctx context.Context, m *raster.Plane, cfa [2][2]uint8) (*raster.RGB, error) {
	out := raster.GetRGB(m.W, m.H)
	err := raster.Bands(ctx, m.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range m.W {
				interpolateAt(out, m, cfa, x, y)
			}
		}
	})
	return out, err
}

func interpolateAt(out *raster.RGB, m *raster.Plane, cfa [2][2]uint8, x, y int) {
	at := func(dx, dy int) float32 { return m.At(mirror(x+dx, m.W), mirror(y+dy, m.H)) }
	c := at(0, 0)
	h1, v1 := at(-1, 0)+at(1, 0), at(0, -1)+at(0, 1)
	h2, v2 := at(-2, 0)+at(2, 0), at(0, -2)+at(0, 2)
	d := at(-1, -1) + at(1, -1) + at(-1, 1) + at(1, 1)
	own := cfa[y&1][x&1]
	set := func(ch uint8, v float32) { out[ch].Row(y)[x] = v }
	set(own, c)
	if own == 1 {
		row, col := cfa[y&1][(x+1)&1], cfa[(y+1)&1][x&1]
		set(row, (5*c+4*h1-h2-d+0.5*v2)/8)
		set(col, (5*c+4*v1-v2-d+0.5*h2)/8)
		return
	}
	set(1, (4*c+2*(h1+v1)-h2-v2)/8)
	set(2-own, (6*c+2*d-1.5*(h2+v2))/8)
}

// mirror reflects an index at the border; the colour pattern carries on.
func mirror(i, n int) int {
	if i < 0 {
		return -i
	}
	if i >= n {
		return 2*n - 2 - i
	}
	return i
}
