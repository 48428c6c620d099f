package jpegfile

/*
#cgo pkg-config: libturbojpeg
#include <stdlib.h>
#include <turbojpeg.h>

// TurboJPEG 2 asks for optimised Huffman tables in no other way than this
// variable (its ChangeLog, 1.4.90). It is read at every compression, so it is
// set once, before any.
static void optimise(void) { setenv("TJ_OPTIMIZE", "1", 1); }
*/
import "C"

import (
	"errors"
	"fmt"
	"runtime"
	"unsafe"
)

func init() { C.optimise() }

// Subsampling says how many chroma samples are kept.
type Subsampling int

// Full keeps one chroma sample a pixel (4:4:4), Half one for every 2 x 2 (4:2:0).
const (
	Full Subsampling = iota
	Half
)

// String returns the usual notation.
func (s Subsampling) String() string {
	if s == Half {
		return "4:2:0"
	}
	return "4:4:4"
}

func (s Subsampling) code() C.int {
	if s == Half {
		return C.TJSAMP_420
	}
	return C.TJSAMP_444
}

// Image is an 8-bit picture, three bytes a pixel (red, green, blue), rows
// 3*W bytes apart.
type Image struct {
	W, H int
	Pix  []byte
}

// NewImage returns a black image.
func NewImage(w, h int) *Image { return &Image{w, h, make([]byte, 3*w*h)} }

// maxSide is the largest width or height a JPEG frame header can hold.
const maxSide = 65535

// Options say how to encode.
type Options struct {
	Quality     int // 1 to 100 on the scale of the IJG's quantisation tables
	Subsampling Subsampling
	Progressive bool // baseline sequential when false
}

// Encoder holds a compressor and its output buffer. It is not safe for
// concurrent use. Close gives its memory back.
type Encoder struct {
	handle C.tjhandle
	buf    *C.uchar
	size   C.ulong
}

// NewEncoder returns an encoder.
func NewEncoder() (*Encoder, error) {
	h := C.tjInitCompress()
	if h == nil {
		return nil, errors.New("jpegfile: libjpeg-turbo cannot start a compressor")
	}
	return &Encoder{handle: h}, nil
}

// Close frees what the encoder holds. The bytes of its last Encode are gone.
func (e *Encoder) Close() {
	if e.buf != nil {
		C.tjFree(e.buf)
	}
	if e.handle != nil {
		C.tjDestroy(e.handle)
	}
	e.buf, e.handle = nil, nil
}

// Encode codes the image with optimised Huffman tables. The returned bytes are
// the encoder's own and are overwritten by its next Encode.
func (e *Encoder) Encode(m *Image, o Options) ([]byte, error) {
	if m.W < 1 || m.H < 1 || m.W > maxSide || m.H > maxSide || len(m.Pix) < 3*m.W*m.H {
		return nil, fmt.Errorf("jpegfile: cannot encode %d x %d pixels from %d bytes", m.W, m.H, len(m.Pix))
	}
	if o.Quality < 1 || o.Quality > 100 {
		return nil, fmt.Errorf("jpegfile: quality %d is not in 1 to 100", o.Quality)
	}
	flags := C.int(C.TJFLAG_ACCURATEDCT)
	if o.Progressive {
		flags |= C.TJFLAG_PROGRESSIVE
	}
	rc := C.tjCompress2(e.handle, (*C.uchar)(unsafe.Pointer(&m.Pix[0])), C.int(m.W), C.int(3*m.W), C.int(m.H),
		C.TJPF_RGB, &e.buf, &e.size, o.Subsampling.code(), C.int(o.Quality), flags)
	runtime.KeepAlive(m)
	if rc != 0 {
		return nil, fmt.Errorf("jpegfile: encoding: %s", C.GoString(C.tjGetErrorStr2(e.handle)))
	}
	return unsafe.Slice((*byte)(e.buf), int(e.size)), nil
}

// Decode decodes a JPEG file to 8-bit RGB code values as they stand in the file;
// no profile and no orientation is applied. With atLeast > 0 the decoder may
// shrink by an eighth's multiple while decoding, as long as the longer side
// keeps that many pixels. Damaged data is an error.
func Decode(data []byte, atLeast int) (*Image, error) {
	if len(data) == 0 {
		return nil, errors.New("jpegfile: the file is empty")
	}
	h := C.tjInitDecompress()
	if h == nil {
		return nil, errors.New("jpegfile: libjpeg-turbo cannot start a decompressor")
	}
	defer C.tjDestroy(h)
	src, n := (*C.uchar)(unsafe.Pointer(&data[0])), C.ulong(len(data))
	var w, ht, sub, space C.int
	if C.tjDecompressHeader3(h, src, n, &w, &ht, &sub, &space) != 0 {
		return nil, fmt.Errorf("jpegfile: %s", C.GoString(C.tjGetErrorStr2(h)))
	}
	if space != C.TJCS_YCbCr && space != C.TJCS_RGB && space != C.TJCS_GRAY {
		return nil, errors.New("jpegfile: a CMYK file; only grey and RGB pictures can be read")
	}
	if int(w)*int(ht) > 400e6 {
		return nil, fmt.Errorf("jpegfile: %d x %d pixels are more than this program takes", w, ht)
	}
	dw, dh := scaled(int(w), int(ht), atLeast)
	m := NewImage(dw, dh)
	rc := C.tjDecompress2(h, src, n, (*C.uchar)(unsafe.Pointer(&m.Pix[0])), C.int(dw), C.int(3*dw), C.int(dh),
		C.TJPF_RGB, C.TJFLAG_ACCURATEDCT|C.TJFLAG_STOPONWARNING)
	runtime.KeepAlive(data)
	if rc != 0 {
		return nil, fmt.Errorf("jpegfile: %s", C.GoString(C.tjGetErrorStr2(h)))
	}
	return m, nil
}

// scaled picks the smallest k/8 that keeps atLeast pixels on the longer side.
func scaled(w, h, atLeast int) (int, int) {
	if atLeast <= 0 {
		return w, h
	}
	for k := 1; k < 8; k++ {
		sw, sh := (w*k+7)/8, (h*k+7)/8
		if max(sw, sh) >= atLeast {
			return sw, sh
		}
	}
	return w, h
}
