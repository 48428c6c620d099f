package whitebalance

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// longEdge is the size at which light is measured: small enough that noise and
// fine texture average out, large enough that window frames and trim remain.
const longEdge = 320

// logRGB is a colour as ln(R/G), ln(B/G) of linear BT.2020, and ln luminance. A
// change of light adds to it.
type logRGB [3]float64

// view is the picture at reduced size.
type view struct {
	w, h   int
	c      [3][]float32 // planes of logRGB
	usable []bool       // not window, not dark, not a lamp
	glass  []float32    // window coverage
	median float64      // of ln luminance over the room
	label  []int32      // surface at each pixel, or -1
	small  [][3]float32 // the picture itself, linear
}

// lum is the luminance row of BT.2020.
const lumR, lumG, lumB = 0.2627, 0.6780, 0.0593

func reduce(ctx context.Context, img *raster.RGB, window *raster.Plane) (*view, error) {
	scale := math.Min(1, longEdge/float64(max(img.W(), img.H())))
	w := max(8, int(math.Round(scale*float64(img.W()))))
	h := max(8, int(math.Round(scale*float64(img.H()))))
	var small raster.RGB
	for i, p := range img {
		s, err := raster.Shrink(ctx, p, w, h)
		if err != nil {
			return nil, err
		}
		small[i] = s
	}
	defer raster.PutRGB(&small)
	v := &view{w: w, h: h, glass: make([]float32, w*h), usable: make([]bool, w*h)}
	if window != nil {
		s, err := raster.Shrink(ctx, window, w, h)
		if err != nil {
			return nil, err
		}
		defer raster.Put(s)
		copy(v.glass, s.Pix)
	}
	for i := range v.c {
		v.c[i] = make([]float32, w*h)
	}
	v.toLog(&small)
	return v, ctx.Err()
}

// toLog fills the log planes and marks pixels that can say something about the
// light: neither glass, nor so dark that black level and noise decide, nor a
// light source.
func (v *view) toLog(img *raster.RGB) {
	var room []float64
	v.small = make([][3]float32, v.w*v.h)
	for i := range v.glass {
		v.small[i] = [3]float32{img[0].Pix[i], img[1].Pix[i], img[2].Pix[i]}
		r, g, b := float64(img[0].Pix[i]), float64(img[1].Pix[i]), float64(img[2].Pix[i])
		l := lumR*r + lumG*g + lumB*b
		ok := l > 0 && !math.IsInf(l, 0)
		// Out-of-gamut channels are raised to a hundredth of the luminance.
		floor := math.Max(l/100, 1e-9)
		r, g, b = math.Max(r, floor), math.Max(g, floor), math.Max(b, floor)
		v.c[0][i] = float32(math.Log(r / g))
		v.c[1][i] = float32(math.Log(b / g))
		v.c[2][i] = float32(math.Log(math.Max(l, 1e-9)))
		v.usable[i] = ok && v.glass[i] < 0.02
		if v.usable[i] {
			room = append(room, float64(v.c[2][i]))
		}
	}
	if len(room) == 0 {
		return
	}
	slices.Sort(room)
	v.median = room[len(room)/2]
	for i := range v.usable {
		l := float64(v.c[2][i])
		v.usable[i] = v.usable[i] && l > v.median-3.5 && l < v.median+3
	}
}

func (v *view) at(i int) logRGB {
	return logRGB{float64(v.c[0][i]), float64(v.c[1][i]), float64(v.c[2][i])}
}
