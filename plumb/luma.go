package plumb

import (
	"context"
	"fmt"

	"mullion/internal/raster"
	"mullion/warp"
)

// Luma returns the picture [Measure] wants: log luminance of linear BT.2020
// radiance (weights of Recommendation ITU-R BT.2020), averaged over whole blocks
// of pixels so that the long edge comes close to the given length. One unit is
// 8 EV; differences count, not the level. The logarithm is taken before
// averaging, so that a window's edge doesn't move outwards.
func Luma(ctx context.Context, m *raster.RGB, long int) (*raster.Plane, error) {
	if m.W() < 1 || m.H() < 1 || long < 1 {
		return nil, fmt.Errorf("plumb: no luminance of a picture of %d x %d pixels", m.W(), m.H())
	}
	k := max(1, (max(m.W(), m.H())+long/2)/long)
	w, h := max(1, m.W()/k), max(1, m.H()/k)
	floor := typical(m) / 64
	out := raster.Get(w, h)
	norm := 1 / float32(8*k*k)
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row := out.Row(y)
			clear(row)
			for j := range min(k, m.H()) {
				lumaRow(row, m[0].Row(y*k+j), m[1].Row(y*k+j), m[2].Row(y*k+j), min(k, m.W()), floor)
			}
			for x := range row {
				row[x] *= norm
			}
		}
	})
	if err != nil {
		raster.Put(out)
		return nil, err
	}
	return out, nil
}

func lumaRow(dst, r, g, b []float32, k int, floor float32) {
	n := len(dst) * k
	r, g, b = r[:n], g[:n], b[:n]
	i := 0
	for x := range dst {
		var sum float32
		for range k {
			v := 0.2627*r[i] + 0.6780*g[i] + 0.0593*b[i]
			if !(v > 0) {
				v = 0
			}
			sum += warp.Encode(v + floor)
			i++
		}
		dst[x] += sum
	}
}

// typical is the mean of green below the level that a few bright windows reach:
// a level to tell shadow from picture.
func typical(m *raster.RGB) float32 {
	g := m[1]
	var sum float32
	n := 0
	for y := 0; y < g.H; y += max(1, g.H/64) {
		row := g.Row(y)
		for x := 0; x < g.W; x += max(1, g.W/64) {
			if v := row[x]; v > 0 {
				sum += warp.Encode(v)
				n++
			}
		}
	}
	if n == 0 {
		return 1
	}
	return warp.Decode(sum / float32(n))
}
