package main

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	_ "image/jpeg"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/jpegfile"
)

// readCodes reads a display file as code values 0 to 1, turned upright by its
// orientation (Exif 1, 3, 6, 8).
func readCodes(path string, orientation int) (*raster.RGB, error) {
	m, err := decodeDisplay(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	r := m.Bounds()
	w, h := r.Dx(), r.Dy()
	out := raster.NewRGB(w, h)
	if orientation == 6 || orientation == 8 {
		out = raster.NewRGB(h, w)
	}
	for y := range h {
		for x := range w {
			X, Y := x, y
			switch orientation {
			case 3:
				X, Y = w-1-x, h-1-y
			case 6:
				X, Y = h-1-y, x
			case 8:
				X, Y = y, w-1-x
			}
			a, b, c, _ := m.At(r.Min.X+x, r.Min.Y+y).RGBA()
			out[0].Row(Y)[X], out[1].Row(Y)[X], out[2].Row(Y)[X] = float32(a)/65535, float32(b)/65535, float32(c)/65535
		}
	}
	return out, nil
}

// decodeDisplay reads JPEG as the libraries beside us do, with TurboJPEG: Go's own
// decoder repeats chroma samples where that one interpolates, which is worth 16 dB
// in a fusion whose weights look at saturation.
func decodeDisplay(path string) (image.Image, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	if m, err := jpegfile.Decode(b, 0); err == nil {
		return asImage(m), nil
	}
	m, _, err := image.Decode(bytes.NewReader(b)) // no JPEG, or none that TurboJPEG takes
	return m, err
}

func asImage(m *jpegfile.Image) *image.RGBA {
	out := image.NewRGBA(image.Rect(0, 0, m.W, m.H))
	for i := range m.W * m.H {
		copy(out.Pix[4*i:], m.Pix[3*i:3*i+3])
		out.Pix[4*i+3] = 255
	}
	return out
}

// codes takes a finished picture, linear light, to its 8-bit code values, 0 to 1.
func codes(m *raster.RGB) *raster.RGB {
	out := raster.NewRGB(m.W(), m.H())
	for c := range m {
		colour.EncodeSRGBRow(out[c].Pix, m[c].Pix)
		for i, v := range out[c].Pix {
			out[c].Pix[i] = float32(math.Round(float64(v)*255) / 255)
		}
	}
	return out
}

func writePicture(dir, name string, m *raster.RGB) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	img := image.NewRGBA(image.Rect(0, 0, m.W(), m.H()))
	for y := range m.H() {
		for x := range m.W() {
			img.SetRGBA(x, y, color.RGBA{byte(m[0].Row(y)[x]*255 + .5), byte(m[1].Row(y)[x]*255 + .5), byte(m[2].Row(y)[x]*255 + .5), 255})
		}
	}
	f, err := os.Create(filepath.Join(dir, name+".png"))
	if err != nil {
		return err
	}
	e := png.Encoder{CompressionLevel: png.BestSpeed}
	return errors.Join(e.Encode(f, img), f.Close())
}

// readPFM reads a little-endian colour PFM, whose rows run from the bottom.
func readPFM(path string) (*raster.RGB, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := bufio.NewReader(f)
	var w, h int
	var scale float64
	if _, err := fmt.Fscanf(r, "PF\n%d %d\n%g\n", &w, &h, &scale); err != nil || scale >= 0 {
		return nil, fmt.Errorf("%s is no little-endian colour PFM", path)
	}
	out := raster.NewRGB(w, h)
	row := make([]byte, 12*w)
	for y := h - 1; y >= 0; y-- {
		if _, err := io.ReadFull(r, row); err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		for x := range w {
			for c := range 3 {
				out[c].Row(y)[x] = math.Float32frombits(binary.LittleEndian.Uint32(row[12*x+4*c:]))
			}
		}
	}
	return out, nil
}
