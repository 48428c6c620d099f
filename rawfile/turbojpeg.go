package rawfile

/*
#cgo pkg-config: libturbojpeg
#include <turbojpeg.h>
*/
import "C"

import (
	"errors"
	"strings"
	"unsafe"
)

// jpegHeader is a JPEG's size and whether its colours are ones we can use.
type jpegHeader struct {
	w, h    int
	grey    bool
	fourInk bool // CMYK: a print file, no camera frame
}

// turbo is one TurboJPEG decompressor. It is not safe for concurrent use.
type turbo struct{ h C.tjhandle }

func newTurbo() (*turbo, error) {
	h := C.tjInitDecompress()
	if h == nil {
		return nil, errors.New("no memory for the JPEG decoder")
	}
	return &turbo{h}, nil
}

func (t *turbo) close() { C.tjDestroy(t.h) }

// lastError returns the library's words, and whether they are only a warning.
func (t *turbo) lastError() (msg string, warning bool) {
	return C.GoString(C.tjGetErrorStr2(t.h)), C.tjGetErrorCode(t.h) == C.TJERR_WARNING
}

func bytePointer(b []byte) *C.uchar { return (*C.uchar)(unsafe.Pointer(unsafe.SliceData(b))) }

func (t *turbo) header(data []byte) (jpegHeader, error) {
	var w, h, sub, space C.int
	rc := C.tjDecompressHeader3(t.h, bytePointer(data), C.ulong(len(data)), &w, &h, &sub, &space)
	if rc != 0 {
		if msg, warning := t.lastError(); !warning {
			return jpegHeader{}, errors.New(msg)
		}
	}
	return jpegHeader{int(w), int(h), space == C.TJCS_GRAY, space == C.TJCS_CMYK || space == C.TJCS_YCCK}, nil
}

// scaled is the smallest size TurboJPEG can decode to whose longer edge is at
// least edge; the full size when there is none.
func (t *turbo) scaled(h jpegHeader, edge int) (w2, h2 int) {
	var n C.int
	p := C.tjGetScalingFactors(&n)
	w2, h2 = h.w, h.h
	if p == nil {
		return w2, h2
	}
	for _, f := range unsafe.Slice(p, int(n)) {
		num, den := int(f.num), int(f.denom)
		w, hh := (h.w*num+den-1)/den, (h.h*num+den-1)/den
		if max(w, hh) >= edge && w < w2 {
			w2, h2 = w, hh
		}
	}
	return w2, h2
}

// decode writes interleaved 8-bit pixels of the wanted size into out: three bytes a
// pixel, or one of luma. It returns the decoder's complaint about damaged data.
func (t *turbo) decode(data, out []byte, w, h int, luma bool) error {
	format, size := C.int(C.TJPF_RGB), 3
	if luma {
		format, size = C.TJPF_GRAY, 1
	}
	if len(out) < w*h*size {
		return errors.New("buffer too small")
	}
	flags := C.int(0)
	if !luma {
		flags = C.TJFLAG_ACCURATEDCT
	}
	rc := C.tjDecompress2(t.h, bytePointer(data), C.ulong(len(data)), bytePointer(out),
		C.int(w), C.int(w*size), C.int(h), format, flags)
	if rc == 0 {
		return nil
	}
	msg, warning := t.lastError()
	if warning && harmless(msg) {
		return nil
	}
	return errors.New(msg)
}

// harmless is true of warnings about bytes that stand where no picture data are:
// several phones leave some before the end marker.
func harmless(msg string) bool {
	return strings.Contains(msg, "extraneous bytes before marker") ||
		strings.Contains(msg, "Invalid SOS parameters") ||
		strings.Contains(msg, "Unknown Adobe color transform")
}
