package simcam

import (
	"context"

	"mullion/internal/raster"
)

// pad is how far the mosaic is mirrored outwards, so that the loops need no
// border cases. Mirroring about the edge photosite keeps the colours in place.
const pad = 2

// padded returns the counts above black, 1 = clipping, with a mirrored border.
func (r *Raw) padded(ctx context.Context) (*raster.Plane, error) {
	p := raster.Get(r.W+2*pad, r.H+2*pad)
	black, scale := float32(r.Camera.Black), 1/float32(r.Camera.White-r.Camera.Black)
	err := raster.Bands(ctx, p.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			sy := mirror(y-pad, r.H)
			row, src := p.Row(y), r.Pix[sy*r.W:(sy+1)*r.W]
			for x, v := range src {
				row[pad+x] = unit((float32(v) - black) * scale)
			}
			for i := range pad {
				row[pad-1-i] = row[pad+1+i]
				row[pad+r.W+i] = row[pad+r.W-2-i]
			}
		}
	})
	return p, err
}

func mirror(i, n int) int {
	if i < 0 {
		return -i
	}
	if i >= n {
		return 2*(n-1) - i
	}
	return i
}

// green interpolates green at the red and blue photosites along the direction in
// which its neighbours differ less. Only the outermost ring of the result stays
// empty.
func green(ctx context.Context, m *raster.Plane) (*raster.Plane, error) {
	g := raster.Get(m.W, m.H)
	err := raster.Bands(ctx, m.H-2, func(y0, y1 int) {
		for y := y0 + 1; y < y1+1; y++ {
			up, row, down, out := m.Row(y-1), m.Row(y), m.Row(y+1), g.Row(y)
			copy(out, row)
			// Red and blue lie where x + y is even, counted from the padded corner.
			for x := 2 - y&1; x < len(out)-1; x += 2 {
				l, r, u, d := row[x-1], row[x+1], up[x], down[x]
				if abs(l-r) <= abs(u-d) {
					out[x] = (l + r) * .5
				} else {
					out[x] = (u + d) * .5
				}
			}
		}
	})
	return g, err
}

func abs(v float32) float32 {
	if v < 0 {
		return -v
	}
	return v
}

// chroma interpolates red and blue of row y (of the padded planes, border cut off
// in the result) through their differences from green, which change slowly.
func chroma(red, blue []float32, m, g *raster.Plane, y int) {
	at := func(x, dy int) float32 { return m.Pix[(y+dy)*m.Stride+x] - g.Pix[(y+dy)*g.Stride+x] }
	own, other := red, blue // the colour this row holds, and the one of its neighbours
	if y&1 == 1 {
		own, other = blue, red
	}
	row, gr := m.Row(y), g.Row(y)
	for i := range own {
		x := i + pad
		if (x+y)&1 == 0 { // a photosite of this row's colour
			own[i] = row[x]
			other[i] = gr[x] + .25*(at(x-1, -1)+at(x+1, -1)+at(x-1, 1)+at(x+1, 1))
			continue
		}
		own[i] = gr[x] + .5*(at(x-1, 0)+at(x+1, 0))
		other[i] = gr[x] + .5*(at(x, -1)+at(x, 1))
	}
}
