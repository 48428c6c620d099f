package finish

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/png"
	"math"

	"mullion/card/disk"
	"mullion/internal/raster"
	"mullion/rawfile"
)

// FrameSize returns the size in pixels of a frame as it is seen, upright, before it is
// straightened: what places of edits are measured in.
func FrameSize(ctx context.Context, path string) (w, h int, err error) {
	f, err := rawfile.Decode(ctx, path)
	if err != nil {
		return 0, 0, err
	}
	defer f.Release()
	switch {
	case f.Mosaic != nil:
		w, h = f.Mosaic.W, f.Mosaic.H
	case f.RGB != nil:
		w, h = f.RGB.W(), f.RGB.H()
	default:
		w, h = f.Coded.RGB.W(), f.Coded.RGB.H()
	}
	if f.Info.Orientation >= 5 {
		w, h = h, w
	}
	return w, h, nil
}

// WriteFrame writes one frame as a PNG to paint a mask on: upright, not straightened,
// in plain light.
func WriteFrame(ctx context.Context, frame, to string) error {
	s, err := Merge(ctx, []string{frame}, nil)
	if err != nil {
		return err
	}
	up := upright(s.RGB, s.Merged.Info.Orientation)
	raster.PutRGB(s.RGB)
	defer raster.PutRGB(up)
	mean, n := 0.0, 0.0
	for y := 0; y < up.H(); y += 8 {
		for x := 0; x < up.W(); x += 8 {
			mean += math.Log(max(1e-9, float64(up[1].Row(y)[x])))
			n++
		}
	}
	gain := float32(0.18 / math.Exp(mean/n)) // the log mean as middle grey
	img := image.NewNRGBA(image.Rect(0, 0, up.W(), up.H()))
	for y := range up.H() {
		for x := range up.W() {
			var v [3]uint8
			for c := range v {
				l := up[c].Row(y)[x] * gain
				v[c] = uint8(255*math.Pow(float64(l/(1+l)), 1/2.2) + 0.5)
			}
			img.SetNRGBA(x, y, color.NRGBA{v[0], v[1], v[2], 255})
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return err
	}
	return disk.WriteFile(disk.OS, to, b.Bytes())
}
