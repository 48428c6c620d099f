package simcam

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"

	"mullion/internal/raster"
)

// A radiance image is kept in a 16-bit RGB PNG as log2 of linear BT.709 (D65,
// 1.0 = 100 cd/m2) in steps of 1/100 EV:
//
//	G = round(100 (log2 g + 17))
//	R = round(100 (log2 r - log2 g)) + 32768
//	B = round(100 (log2 b - log2 g)) + 32768
//
// The rounding is at most 0.005 EV, far under any camera's noise, and the colour
// differences pack well.
const (
	codesPerEV = 100
	greenZero  = 17 * codesPerEV
	colourZero = 32768
)

// ReadRadiance decodes a radiance PNG to linear BT.2020, 1.0 = 100 cd/m2.
func ReadRadiance(ctx context.Context, r io.Reader) (*raster.RGB, error) {
	m, err := png.Decode(bufio.NewReaderSize(r, 1<<16))
	if err != nil {
		return nil, fmt.Errorf("radiance image: %w", err)
	}
	code, ok := m.(*image.RGBA64)
	if !ok {
		return nil, errors.New("radiance image: the PNG must be RGB of 16 bits a sample, without alpha")
	}
	w, h := code.Rect.Dx(), code.Rect.Dy()
	out := raster.GetRGB(w, h)
	err = raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			decodeRow(out[0].Row(y), out[1].Row(y), out[2].Row(y), code.Pix[y*code.Stride:])
		}
	})
	if err != nil {
		raster.PutRGB(out)
		return nil, err
	}
	return out, nil
}

func decodeRow(r, g, b []float32, pix []uint8) {
	m := bt2020FromBT709
	for x := range g {
		p := pix[8*x : 8*x+6 : 8*x+6]
		cr, cg, cb := int(p[0])<<8|int(p[1]), int(p[2])<<8|int(p[3]), int(p[4])<<8|int(p[5])
		lr, lg, lb := power(cg+cr-colourZero), power(cg), power(cg+cb-colourZero)
		r[x] = float32(m[0][0]*lr + m[0][1]*lg + m[0][2]*lb)
		g[x] = float32(m[1][0]*lr + m[1][1]*lg + m[1][2]*lb)
		b[x] = float32(m[2][0]*lr + m[2][1]*lg + m[2][2]*lb)
	}
}

// power returns 2^(code/100 - 17) from a table that covers all codes a real scene
// can have.
func power(code int) float64 {
	if uint(code) < uint(len(powers)) {
		return powers[code]
	}
	return math.Exp2(float64(code-greenZero) / codesPerEV)
}

var powers = func() (t [4096]float64) {
	for i := range t {
		t[i] = math.Exp2(float64(i-greenZero) / codesPerEV)
	}
	return
}()
