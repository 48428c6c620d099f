// Package demosaic turns one merged float mosaic into three full planes.
//
// A bracket is merged first and interpolated once, so this is the only place in
// the house where colours are guessed. The guess works on colour differences,
// green minus red or blue, which vary slowly where colours themselves do not.
// Along every photosite a difference is estimated from the left, right, above
// and below; the four are weighed by how smooth the differences run on that
// side. There is no threshold to tune and no hard choice that could make mazes.
//
// Source: I. Pekkucuksen and Y. Altunbasak, "Gradient based threshold free color
// filter array interpolation", IEEE ICIP 2010; its smoother directional average is
// from the same authors' "Multiscale gradients-based color filter array
// interpolation", IEEE Trans. Image Process. 22(1), 2013.
//
// Radiance spans fourteen stops, and a difference of two colours means something
// else at a lamp than in a shadow. So the mosaic is first taken to a domain where
// noise and contrast are about even (see [Flatten]) and back afterwards.
package demosaic

import (
	"context"
	"fmt"

	"mullion/internal/raster"
)

// margin is how far the guess looks beyond a row or column: 1 for red at green, 3
// for red at blue, and 7 for the difference there (2 for the directional estimate,
// 1 for its gradient, 2 for the sum of those, 2 to the side they speak for).
const margin = 11

// bandRows is the height of a band of a mosaic w wide that is worked through all
// stages while it is still in the cache. The margins are done twice, so it can't be
// small; a narrow mosaic is one band.
func bandRows(w int) int { return max(64, 1<<16/w) }

// Demosaic interpolates a mosaic of any scale. Sample (x, y) of m has the colour
// cfa[y&1][x&1], 0 red, 1 green, 2 blue; the pattern must have two greens on a
// diagonal (a Bayer pattern in any of its four phases). The result has the size,
// the scale and, at every photosite, the very sample of the mosaic. Flat tells the
// noise of the mosaic; its zero value interpolates as is.
//
// The context's error is returned when it stops; any other error means that the
// mosaic is not one.
func Demosaic(ctx context.Context, m *raster.Plane, cfa [2][2]uint8, flat Flatten) (*raster.RGB, error) {
	if m.W < 4 || m.H < 4 {
		return nil, fmt.Errorf("demosaic: a mosaic of %d x %d photosites is too small to interpolate", m.W, m.H)
	}
	gx, err := greenColumn(cfa)
	if err != nil {
		return nil, err
	}
	out := raster.GetRGB(m.W, m.H)
	err = raster.BandsOf(ctx, m.H, bandRows(m.W), func(y0, y1 int) {
		b := newBand(m, cfa, gx, y0, y1, flat)
		b.directions()
		b.differences()
		b.write(out, m, flat)
		b.release()
	})
	if err != nil {
		raster.PutRGB(out)
		return nil, err
	}
	return out, nil
}

// greenColumn returns the column (0 or 1) of green in even rows.
func greenColumn(cfa [2][2]uint8) (int, error) {
	for gx := range 2 {
		if cfa[0][gx] == 1 && cfa[1][1-gx] == 1 {
			c0, c1 := cfa[0][1-gx], cfa[1][gx]
			if c0+c1 == 2 && c0 != 1 {
				return gx, nil
			}
		}
	}
	return 0, fmt.Errorf("demosaic: %v is not a Bayer pattern", cfa)
}
