package denoise

import "mullion/internal/raster"

// scales is how many there are: blocks of the coarsest span 64 pixels.
const scales = 4

// halve returns img averaged over 2 x 2 samples, (W+1)/2 x (H+1)/2 of them.
func halve(img *raster.RGB) *raster.RGB {
	half := raster.GetRGB((img.W()+1)/2, (img.H()+1)/2)
	for c := range half {
		for y := range half.H() {
			halveRow(half[c].Row(y), img[c].Row(2*y), img[c].Row(min(2*y+1, img.H()-1)))
		}
	}
	return half
}

// halveRow averages two rows in pairs; an odd last sample is a pair by itself.
func halveRow(dst, a, b []float32) {
	b = b[:len(a)]
	n := len(a) / 2
	for i := range n {
		dst[i] = 0.25 * (a[2*i] + a[2*i+1] + b[2*i] + b[2*i+1])
	}
	if len(a)&1 == 1 {
		dst[n] = 0.5 * (a[2*n] + b[2*n])
	}
}

// addDoubled adds gain times the samples (x0, y), (x0+1, y) ... of half doubled to row.
// Half's samples lie between four of the doubled ones, which are 3/4 and 1/4 of their
// neighbours in both directions.
func addDoubled(row []float32, half *raster.Plane, x0, y int, gain float32) {
	near := half.Row(y >> 1)
	far := half.Row(max(0, min(half.H-1, y>>1-1+y&1*2)))
	far = far[:len(near)]
	p, q := 0.75*gain, 0.25*gain
	i := x0 >> 1
	at := func(i int) float32 {
		i = max(0, min(len(near)-1, i))
		return p*near[i] + q*far[i]
	}
	left, mid := at(i-1), at(i)
	x := 0
	if x0&1 == 1 && len(row) > 0 {
		left, mid = mid, at(i+1)
		row[0] += 0.75*left + 0.25*mid
		x, i = 1, i+1
	}
	for ; x+1 < len(row) && i+1 < len(near); x += 2 {
		i++
		right := p*near[i] + q*far[i]
		row[x] += 0.75*mid + 0.25*left
		row[x+1] += 0.75*mid + 0.25*right
		left, mid = mid, right
	}
	for ; x < len(row); x += 2 { // at the right border
		i++
		right := at(i)
		row[x] += 0.75*mid + 0.25*left
		if x+1 < len(row) {
			row[x+1] += 0.75*mid + 0.25*right
		}
		left, mid = mid, right
	}
}
