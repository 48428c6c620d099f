package rawfile

import (
	"bytes"
	"compress/zlib"
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"image/png"
	"io"

	"github.com/gen2brain/heic"
	"golang.org/x/image/tiff"

	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/metadata/ifd"
)

// decodeRendered fills f from a PNG or TIFF.
func decodeRendered(ctx context.Context, f *Frame, data []byte, kind metadata.Kind) error {
	cfg, err := config(data, kind)
	if err != nil {
		return renderedError(f.Path, kind, err)
	}
	if cfg.Width < 2 || cfg.Height < 2 || bomb(cfg.Width, cfg.Height, len(data)) {
		return damaged(f.Path, fmt.Sprintf("its header claims %d x %d pixels", cfg.Width, cfg.Height), nil)
	}
	img, err := decodeImage(data, kind)
	if err != nil {
		return renderedError(f.Path, kind, err)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	rgb, bits, err := planes(ctx, img)
	if err != nil {
		return err
	}
	f.Kind = KindDisplay
	f.Info.Width, f.Info.Height = rgb.W(), rgb.H()
	f.Coded = coded(rgb, bits, imageProfile(data, kind))
	return nil
}

// unpackHEIC takes a HEIC's code values and profile, as bytes or, where it has more bits,
// as words.
func unpackHEIC(ctx context.Context, u *unpacked, data []byte) error {
	cfg, err := config(data, metadata.KindHEIF)
	if err != nil {
		return renderedError(u.path, metadata.KindHEIF, err)
	}
	if cfg.Width < 2 || cfg.Height < 2 || bomb(cfg.Width, cfg.Height, len(data)) {
		return damaged(u.path, fmt.Sprintf("its header claims %d x %d pixels", cfg.Width, cfg.Height), nil)
	}
	img, err := decodeImage(data, metadata.KindHEIF)
	if err != nil {
		return renderedError(u.path, metadata.KindHEIF, err)
	}
	row, bits := rowReader(img)
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	u.W, u.H, u.Profile = w, h, imageProfile(data, metadata.KindHEIF)
	u.Form = formCodedWords
	if bits == 8 {
		u.Form = formBytes
		u.bytes, err = byteRoom(3 * w * h)
	} else {
		u.words, err = wordRoom(3 * w * h)
	}
	if err != nil {
		return damaged(u.path, err.Error(), err)
	}
	return raster.Bands(ctx, h, func(y0, y1 int) {
		line := make([]float32, 3*w)
		for y := y0; y < y1; y++ {
			row(y, line[:w], line[w:2*w], line[2*w:])
			for i, v := range line {
				at := 3*(y*w+i%w) + i/w
				if bits == 8 {
					u.bytes[at] = uint8(v*255 + .5)
				} else {
					u.words[at] = uint16(v*65535 + .5)
				}
			}
		}
	})
}

// readyForHEIC has the library load what it loads at its first picture, for a process
// that can open no file later.
func readyForHEIC() {
	if heic.Dynamic() == nil {
		heic.DecodeConfig(bytes.NewReader(nothingHEIC))
	}
}

// nothingHEIC is the beginning of a HEIC without a picture in it.
var nothingHEIC = []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic")

// bomb reports whether a file claims more pixels than any camera has, or far more than
// its bytes can hold: a photograph's noise takes more than one byte in 512 pixels.
func bomb(w, h, size int) bool {
	return w > maxPixels/h || w*h > 50_000_000 && w*h > 512*size
}

// renderedError is damage, except that a HEIC may as well be of a kind its decoder
// does not know: the newer phones' and 10-bit ones.
func renderedError(path string, kind metadata.Kind, err error) error {
	if kind != metadata.KindHEIF {
		return damaged(path, err.Error(), err)
	}
	return &metadata.FileError{
		Path:    path,
		Problem: "this HEIC can't be decoded: it is damaged, or of a kind the decoder does not know",
		Advice:  "copy it from the camera again, or save it as JPEG or TIFF there",
		Err:     err,
	}
}

func config(data []byte, kind metadata.Kind) (image.Config, error) {
	r := bytes.NewReader(data)
	switch kind {
	case metadata.KindPNG:
		return png.DecodeConfig(r)
	case metadata.KindTIFF:
		return tiff.DecodeConfig(r)
	}
	return heic.DecodeConfig(r)
}

// decodeImage turns a decoder's panic over damaged data into an error.
func decodeImage(data []byte, kind metadata.Kind) (img image.Image, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the decoder gave up: %v", p)
		}
	}()
	r := bytes.NewReader(data)
	switch kind {
	case metadata.KindPNG:
		return png.Decode(r)
	case metadata.KindTIFF:
		return tiff.Decode(r)
	}
	return heic.Decode(r)
}

// isMosaic reports whether a TIFF holds sensor data (PhotometricInterpretation
// 32803, TIFF/EP).
func isMosaic(data []byte) bool {
	dirs, _ := ifd.Read(bytes.NewReader(data))
	for i := range dirs {
		if e, ok := dirs[i].Find(262); ok {
			if v, _ := e.Uint(0); v == 32803 {
				return true
			}
		}
	}
	return false
}

// planes converts a decoded picture to planes of 0..1. Transparency is ignored: a
// photograph has none.
func planes(ctx context.Context, img image.Image) (*raster.RGB, int, error) {
	b := img.Bounds()
	rgb := raster.GetRGB(b.Dx(), b.Dy())
	row, bits := rowReader(img)
	err := raster.Bands(ctx, b.Dy(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row(y, rgb[0].Row(y), rgb[1].Row(y), rgb[2].Row(y))
		}
	})
	if err != nil {
		raster.PutRGB(rgb)
		return nil, 0, err
	}
	return rgb, bits, nil
}

// rowReader returns the function that converts a row, and the bits a sample has.
func rowReader(img image.Image) (func(y int, r, g, b []float32), int) {
	switch m := img.(type) {
	case *image.RGBA:
		return bytesRow(m.Pix, m.Stride, 4), 8
	case *image.NRGBA:
		return bytesRow(m.Pix, m.Stride, 4), 8
	case *image.Gray:
		return bytesRow(m.Pix, m.Stride, 1), 8
	case *image.RGBA64:
		return wordsRow(m.Pix, m.Stride, 8), 16
	case *image.NRGBA64:
		return wordsRow(m.Pix, m.Stride, 8), 16
	case *image.Gray16:
		return wordsRow(m.Pix, m.Stride, 2), 16
	}
	o := img.Bounds().Min
	return func(y int, r, g, b []float32) {
		for x := range r {
			cr, cg, cb, _ := img.At(o.X+x, o.Y+y).RGBA()
			r[x], g[x], b[x] = float32(cr)/65535, float32(cg)/65535, float32(cb)/65535
		}
	}, 8
}

// bytesRow reads pixels of n bytes, one a channel; n of 1 is grey.
func bytesRow(pix []byte, stride, n int) func(int, []float32, []float32, []float32) {
	g, b := min(1, n-1), min(2, n-1)
	return func(y int, rr, gg, bb []float32) {
		row := pix[y*stride:]
		for x := range rr {
			p := row[n*x : n*x+n : n*x+n]
			rr[x], gg[x], bb[x] = unit8[p[0]], unit8[p[g]], unit8[p[b]]
		}
	}
}

// wordsRow reads pixels of n bytes, two a channel, most significant first.
func wordsRow(pix []byte, stride, n int) func(int, []float32, []float32, []float32) {
	g, b := min(2, n-2), min(4, n-2)
	unit := func(p []byte) float32 { return float32(binary.BigEndian.Uint16(p)) * (1.0 / 65535) }
	return func(y int, rr, gg, bb []float32) {
		row := pix[y*stride:]
		for x := range rr {
			p := row[n*x : n*x+n : n*x+n]
			rr[x], gg[x], bb[x] = unit(p), unit(p[g:]), unit(p[b:])
		}
	}
}

// maxProfile bounds a compressed profile.
const maxProfile = 4 << 20

// imageProfile finds the colour profile in the container, nil without one.
func imageProfile(data []byte, kind metadata.Kind) []byte {
	switch kind {
	case metadata.KindPNG:
		return pngProfile(data)
	case metadata.KindTIFF:
		dirs, _ := ifd.Read(bytes.NewReader(data))
		for i := range dirs {
			if e, ok := dirs[i].Find(34675); ok { // TIFF tag of ICC.1:2022, annex B.3
				return e.Bytes()
			}
		}
	case metadata.KindHEIF:
		// The "colr" box of type "prof" holds the profile as it is (ISO/IEC 14496-12).
		if i := bytes.Index(data, []byte("colrprof")); i >= 4 {
			size := int64(binary.BigEndian.Uint32(data[i-4:]))
			if size > 12 && int64(i-4)+size <= int64(len(data)) {
				return data[i+8 : int64(i-4)+size]
			}
		}
	}
	return nil
}

// pngProfile reads the iCCP chunk (PNG specification, third edition, 11.3.2.3).
func pngProfile(data []byte) []byte {
	for at := 8; at+12 <= len(data); {
		n := int64(binary.BigEndian.Uint32(data[at:]))
		name := string(data[at+4 : at+8])
		if int64(at)+12+n > int64(len(data)) || name == "IDAT" {
			return nil
		}
		if name == "iCCP" {
			body := data[at+8 : int64(at)+8+n]
			i := bytes.IndexByte(body, 0)
			if i < 0 || i+2 > len(body) {
				return nil
			}
			z, err := zlib.NewReader(bytes.NewReader(body[i+2:]))
			if err != nil {
				return nil
			}
			out, err := io.ReadAll(io.LimitReader(z, maxProfile))
			if err != nil {
				return nil
			}
			return out
		}
		at += 12 + int(n)
	}
	return nil
}
