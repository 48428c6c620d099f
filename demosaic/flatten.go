package demosaic

import "mullion/internal/raster"

// Flatten is the domain the interpolation works in: t = log2(1 + x/Knee), odd
// around zero. Far above Knee it is a logarithm, so a window's edge weighs no more
// than a skirting board's and equal ratios are equal differences; far below, where
// the noise no longer falls with the signal, it is linear and noise around black
// stays noise around black.
//
// A merged bracket has nearly constant relative noise over its whole range, since
// every level comes from a frame that exposed it well; a logarithm with its knee a
// few standard deviations above black therefore flattens its noise (the idea of
// Anscombe, Biometrika 35, 1948, for another variance law).
//
// Knee is in the unit of the mosaic; 0 leaves values as they are.
type Flatten struct{ Knee float32 }

func (f Flatten) forward(dst, src []float32) {
	if f.Knee <= 0 {
		copy(dst, src)
		return
	}
	s := 1 / f.Knee
	dst = dst[:len(src)]
	for i, x := range src {
		if x < 0 {
			dst[i] = -raster.Log2(1 - x*s)
		} else {
			dst[i] = raster.Log2(1 + x*s)
		}
	}
}

// back takes a row of one colour back. Its samples at the photosites of that colour,
// every second from column first on (2: none), are those of the mosaic's row.
func (f Flatten) back(row, mosaic []float32, first int) {
	if f.Knee <= 0 {
		return
	}
	if first > 1 {
		f.backFrom(row, 0, 1)
		return
	}
	for x := first; x < len(row); x += 2 {
		row[x] = mosaic[x]
	}
	f.backFrom(row, 1-first, 2)
}

func (f Flatten) backFrom(row []float32, first, step int) {
	for x := first; x < len(row); x += step {
		t := row[x]
		if t < 0 {
			row[x] = -f.Knee * (raster.Exp2(-t) - 1)
		} else {
			row[x] = f.Knee * (raster.Exp2(t) - 1)
		}
	}
}
