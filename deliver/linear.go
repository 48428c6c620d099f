package deliver

import (
	"context"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/jpegfile"
)

// decoded returns the linear light of an 8-bit sRGB image. The planes come from
// the pool.
func decoded(ctx context.Context, img *jpegfile.Image) (*raster.RGB, error) {
	var table [256]float32
	for i := range table {
		table[i] = float32(colour.DecodeSRGB(float64(i) / 255))
	}
	out := raster.GetRGB(img.W, img.H)
	err := raster.Bands(ctx, img.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			in := img.Pix[3*img.W*y : 3*img.W*(y+1)]
			for k := range 3 {
				row := out[k].Row(y)
				for x := range row {
					row[x] = table[in[3*x+k]]
				}
			}
		}
	})
	if err != nil {
		raster.PutRGB(out)
		return nil, err
	}
	return out, nil
}

// reduceCoded reduces an 8-bit sRGB image to w x h through linear light.
func reduceCoded(ctx context.Context, img *jpegfile.Image, w, h int, amount float64) (*jpegfile.Image, error) {
	lin, err := decoded(ctx, img)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(lin)
	small, err := reduce(ctx, lin, w, h)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(small)
	return code(ctx, small, amount)
}
