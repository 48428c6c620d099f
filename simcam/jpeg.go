package simcam

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"io"

	"mullion/internal/raster"
)

// jpegQuality is the quality of the camera JPEG on the scale of image/jpeg.
const jpegQuality = 93

// Develop returns the camera's own rendering of the frame: 8-bit sRGB in the
// sensor's orientation.
func (r *Raw) Develop(ctx context.Context) (*image.RGBA, error) {
	m, err := r.padded(ctx)
	defer raster.Put(m)
	if err != nil {
		return nil, err
	}
	g, err := green(ctx, m)
	defer raster.Put(g)
	if err != nil {
		return nil, err
	}
	img := image.NewRGBA(image.Rect(0, 0, r.W, r.H))
	dev := r.developer()
	err = raster.Bands(ctx, r.H, func(y0, y1 int) {
		red, blue := make([]float32, r.W), make([]float32, r.W)
		for y := y0; y < y1; y++ {
			chroma(red, blue, m, g, y+pad)
			dev.fill(img, y, red, g.Row(y + pad)[pad:], blue)
		}
	})
	return img, err
}

// WriteJPEG writes the camera's own rendering with its Exif data.
func (r *Raw) WriteJPEG(ctx context.Context, w io.Writer) error {
	img, err := r.Develop(ctx)
	if err != nil {
		return err
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: jpegQuality}); err != nil {
		return fmt.Errorf("camera JPEG: %w", err)
	}
	// The Exif segment goes right behind the start marker.
	head := segment([]byte{0xff, 0xd8}, 0xe1, r.exifSegment())
	if _, err := w.Write(head); err != nil {
		return fmt.Errorf("camera JPEG: %w", err)
	}
	if _, err := w.Write(buf.Bytes()[2:]); err != nil {
		return fmt.Errorf("camera JPEG: %w", err)
	}
	return nil
}

func (r *Raw) exifSegment() []byte {
	first, exif := ifd{}, r.exif()
	r.body(first)
	first.longs(34665, 0)
	first.shorts(531, 1)                      // YCbCrPositioning: centred
	exif.undefined(37121, "\x01\x02\x03\x00") // ComponentsConfiguration: Y, Cb, Cr
	exif.undefined(40960, "0100")             // FlashpixVersion
	exif.shorts(40961, 1)                     // ColorSpace: sRGB
	exif.longs(40962, r.W)
	exif.longs(40963, r.H)
	exifAt := 8 + first.size()
	first.longs(34665, exifAt)
	out := first.append(tiffHeader([]byte("Exif\x00\x00")), 8)
	return exif.append(out, exifAt)
}
