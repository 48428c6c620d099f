package deliver

import (
	"bytes"
	"context"

	"mullion/internal/raster"
	"mullion/jpegfile"
)

// Screen codes a picture (linear light, sRGB primaries, 0..1) for looking at, at its
// own size: a JPEG, sharpened and dithered as a delivered file would be that was
// reduced from a picture factor times as large. It says nothing about itself.
func Screen(ctx context.Context, pic *raster.RGB, factor float64, quality int) ([]byte, error) {
	img, err := code(ctx, pic, sharpenAmount(max(1, factor), 1))
	if err != nil {
		return nil, err
	}
	e, err := jpegfile.NewEncoder()
	if err != nil {
		return nil, err
	}
	defer e.Close()
	data, err := e.Encode(img, jpegfile.Options{Quality: quality})
	return bytes.Clone(data), err
}

// Small returns the picture reduced to a long edge in pixels, as delivered files are
// reduced. One that is no longer is returned as a copy.
func Small(ctx context.Context, pic *raster.RGB, edge int) (*raster.RGB, error) {
	f := Pixels{LongEdge: edge}.fit(pic.W(), pic.H())
	return reduce(ctx, pic, f.outW, f.outH)
}
