package denoise

import "math"

// basis is three orthonormal directions in bent colour: brightness, then two colours.
type basis [3][3]float32

// rotation is the basis for a picture whose channels have the given signal to noise
// ratio: light that gets brighter by a share moves bent channels in this proportion,
// so that along it brightness is seen with the least noise, and across it a grey
// surface has no texture. The colours are Gram-Schmidt's remains of red-blue and green.
func rotation(snr [3]float64) basis {
	d := [3][3]float64{snr, {1, 0, -1}, {-1, 2, -1}}
	var b basis
	for i := range d {
		for j := range i {
			dot := 0.0
			for c := range 3 {
				dot += d[i][c] * d[j][c]
			}
			for c := range 3 {
				d[i][c] -= dot * d[j][c]
			}
		}
		n := math.Sqrt(d[i][0]*d[i][0] + d[i][1]*d[i][1] + d[i][2]*d[i][2])
		for c := range 3 {
			d[i][c] /= n
			b[i][c] = float32(d[i][c])
		}
	}
	return b
}
