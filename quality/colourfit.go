package quality

import (
	"mullion/colour"
	"mullion/internal/raster"
)

// ColourFit is the matrix that takes got nearest to want where the luminance y of want
// lies from lo to hi, by least squares of the error relative to y. It takes out what
// primaries and exposure leave open when radiance is compared with the truth.
func ColourFit(got, want *raster.RGB, y *raster.Plane, lo, hi float32) colour.Mat3 {
	var ts, ss colour.Mat3
	for i, l := range y.Pix {
		if l < lo || l > hi {
			continue
		}
		wt := 1 / float64(l) / float64(l)
		for a := range 3 {
			s := wt * float64(got[a].Pix[i])
			for b := range 3 {
				ss[a][b] += s * float64(got[b].Pix[i])
				ts[b][a] += s * float64(want[b].Pix[i])
			}
		}
	}
	inverse, _ := ss.Inverse()
	return ts.Mul(inverse)
}
