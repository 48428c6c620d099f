package raster

import "context"

// Transform applies a matrix, row by row of the result, to every pixel in place and
// holds the result at or above least; what is not a number becomes least.
func Transform(ctx context.Context, img *RGB, m [3][3]float64, least float32) error {
	var a [3][3]float32
	for i := range 3 {
		for j := range 3 {
			a[i][j] = float32(m[i][j])
		}
	}
	return Bands(ctx, img.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r := img[0].Row(y)
			g, b := img[1].Row(y)[:len(r)], img[2].Row(y)[:len(r)]
			for x := range r {
				u, v, w := r[x], g[x], b[x]
				r[x] = atLeast(a[0][0]*u+a[0][1]*v+a[0][2]*w, least)
				g[x] = atLeast(a[1][0]*u+a[1][1]*v+a[1][2]*w, least)
				b[x] = atLeast(a[2][0]*u+a[2][1]*v+a[2][2]*w, least)
			}
		}
	})
}

// Floor holds every sample at or above least, in place.
func Floor(ctx context.Context, img *RGB, least float32) error {
	return Bands(ctx, img.H(), func(y0, y1 int) {
		for c := range img {
			for y := y0; y < y1; y++ {
				row := img[c].Row(y)
				for x, v := range row {
					row[x] = atLeast(v, least)
				}
			}
		}
	})
}

// atLeast also turns what is not a number into least.
func atLeast(v, least float32) float32 {
	if v > least {
		return v
	}
	return least
}
