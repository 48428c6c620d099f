package rawfile

import (
	"context"
	"fmt"
	"unsafe"

	"mullion/internal/raster"
	"mullion/metadata"
)

// unpacked is what a decoder made of a file: samples and what they mean. It is the
// form in which a frame crosses from the decoder's process to ours, so everything in it
// but the samples is small, and nothing in it is believed before [unpacked.check].
type unpacked struct {
	Info    metadata.Info
	Form    form
	W, H    int
	Camera  Camera
	Mosaic  Mosaic // without its samples
	Profile []byte // a JPEG's colour profile

	words []uint16 // formMosaic: W*H; else 3*W*H, interleaved
	bytes []byte   // formBytes: 3*W*H, interleaved

	path string
}

type form int

const (
	formMosaic     form = iota // one sample a photosite
	formWords                  // linear camera RGB, 65535 = clipping
	formBytes                  // code values of a JPEG or HEIC
	formCodedWords             // the same with more than 8 bits
)

// room is where a decoder's process writes its samples. In any other process it is
// nil, and they come from the pools.
var room []byte

func wordRoom(n int) ([]uint16, error) {
	if room == nil {
		return raster.GetWords(n), nil
	}
	if 2*n > len(room) {
		return nil, fmt.Errorf("its header claims a picture of %d samples", n)
	}
	return unsafe.Slice((*uint16)(unsafe.Pointer(&room[0])), n), nil
}

func byteRoom(n int) ([]byte, error) {
	if room == nil {
		return getBytes(n), nil
	}
	if n > len(room) {
		return nil, fmt.Errorf("its header claims a picture of %d bytes", n)
	}
	return room[:n:n], nil
}

// giveBack returns samples to the pools they came from.
func (u *unpacked) giveBack() {
	if room == nil && u.words != nil {
		raster.PutWords(u.words)
	}
	if room == nil && u.bytes != nil {
		bytePool.Put(&u.bytes)
	}
	u.words, u.bytes = nil, nil
}

// size is the bytes that the samples take.
func (u *unpacked) size() int {
	n := u.W * u.H
	switch u.Form {
	case formMosaic:
		return 2 * n
	case formWords, formCodedWords:
		return 6 * n
	}
	return 3 * n
}

// check refuses what no decoder in its right mind says.
func (u *unpacked) check() error {
	m := &u.Mosaic
	ok := u.Form >= formMosaic && u.Form <= formCodedWords && u.W >= 2 && u.H >= 2 && u.W <= 1<<17 && u.H <= 1<<17 && u.W*u.H <= maxPixels
	if ok && u.Form == formMosaic {
		ok = m.White > 0 && m.White <= 65535
		for y := range 2 {
			for x := range 2 {
				ok = ok && m.CFA[y][x] <= 2 && m.Black[y][x] >= 0 && m.Black[y][x] <= 65535
			}
		}
	}
	if !ok {
		return fmt.Errorf("its decoder gave a picture of %d x %d that makes no sense", u.W, u.H)
	}
	return nil
}

// frame arranges the samples as the rest of the house takes them.
func (u *unpacked) frame(ctx context.Context) (*Frame, error) {
	f := &Frame{Path: u.path, Info: u.Info, Camera: u.Camera}
	f.Info.Width, f.Info.Height = u.W, u.H
	if u.Form == formMosaic {
		m := u.Mosaic
		m.W, m.H, m.Pix = u.W, u.H, u.words
		f.Kind, f.Mosaic = KindMosaic, &m
		return f, ctx.Err()
	}
	defer u.giveBack()
	rgb := raster.GetRGB(u.W, u.H)
	err := raster.Bands(ctx, u.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r, g, b := rgb[0].Row(y), rgb[1].Row(y), rgb[2].Row(y)
			if at := 3 * u.W * y; u.Form == formBytes {
				split8(u.bytes[at:at+3*u.W], r, g, b)
			} else {
				split16(u.words[at:at+3*u.W], r, g, b)
			}
		}
	})
	if err != nil {
		raster.PutRGB(rgb)
		return nil, err
	}
	if u.Form != formWords {
		bits := 8
		if u.Form == formCodedWords {
			bits = 16
		}
		f.Kind, f.Coded = KindDisplay, coded(rgb, bits, u.Profile)
		f.Camera = Camera{}
		return f, nil
	}
	f.Kind, f.RGB = KindCameraRGB, rgb
	return f, nil
}

// split16 turns interleaved 16-bit pixels into planes of 0..1.
func split16(src []uint16, r, g, b []float32) {
	const k = 1.0 / 65535
	g, b = g[:len(r)], b[:len(r)]
	for x := range r {
		p := src[3*x : 3*x+3 : 3*x+3]
		r[x], g[x], b[x] = float32(p[0])*k, float32(p[1])*k, float32(p[2])*k
	}
}
