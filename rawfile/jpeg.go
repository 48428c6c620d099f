package rawfile

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"sync"

	"mullion/metadata"
)

// maxPixels bounds every picture: four times the largest camera's.
const maxPixels = 400_000_000

// unpackJPEG takes a JPEG's code values and profile.
func unpackJPEG(ctx context.Context, u *unpacked, data []byte) error {
	t, err := newTurbo()
	if err != nil {
		return err
	}
	defer t.close()
	h, err := t.header(data)
	if err != nil {
		return damaged(u.path, err.Error(), err)
	}
	if err := jpegUsable(u.path, h, data); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	into, err := byteRoom(3 * h.w * h.h)
	if err != nil {
		return damaged(u.path, err.Error(), err)
	}
	if err := t.decode(data, into, h.w, h.h, false); err != nil {
		return damaged(u.path, err.Error(), err)
	}
	u.Form, u.W, u.H, u.bytes = formBytes, h.w, h.h, into
	u.Profile = jpegProfile(data)
	return nil
}

// jpegUsable refuses what the header already gives away.
func jpegUsable(path string, h jpegHeader, data []byte) error {
	switch {
	case h.fourInk:
		return &metadata.FileError{Path: path, Problem: "it holds printing inks (CMYK), not camera colours", Advice: "save it as RGB, or leave it out"}
	case h.w < 2 || h.h < 2:
		return damaged(path, fmt.Sprintf("its header claims %d x %d pixels", h.w, h.h), nil)
	case bomb(h.w, h.h, len(data)):
		return damaged(path, fmt.Sprintf("its header claims %d x %d pixels, the file has %d bytes", h.w, h.h, len(data)), nil)
	case !hasEnd(data):
		return damaged(path, "the end of the picture is missing", nil)
	}
	return nil
}

// hasEnd looks for the end marker after the first scan's start. Within coded data
// the marker's bytes can't occur (ITU-T T.81, B.1.1.5).
func hasEnd(data []byte) bool {
	scan := len(data)
	segments(data, func(marker byte, at int, _ []byte) bool {
		if marker == 0xDA {
			scan = at
		}
		return true
	})
	return bytes.Contains(data[scan:], []byte{0xFF, 0xD9})
}

// segments calls fn with each marker segment up to the first scan.
func segments(data []byte, fn func(marker byte, at int, body []byte) bool) {
	for at := 2; at+4 <= len(data) && data[at] == 0xFF; {
		m := data[at+1]
		if m == 0xFF { // a fill byte
			at++
			continue
		}
		if m == 0x01 || m >= 0xD0 && m <= 0xD9 {
			at += 2
			continue
		}
		n := int(binary.BigEndian.Uint16(data[at+2:]))
		if n < 2 || at+2+n > len(data) {
			return
		}
		if !fn(m, at, data[at+4:at+2+n]) || m == 0xDA {
			return
		}
		at += 2 + n
	}
}

// jpegProfile joins the colour profile's pieces (ICC.1:2022, annex B.4), nil
// without one.
func jpegProfile(data []byte) []byte {
	const sign = "ICC_PROFILE\x00"
	pieces := map[int][]byte{}
	total := 0
	segments(data, func(marker byte, _ int, body []byte) bool {
		if marker == 0xE2 && len(body) > len(sign)+2 && string(body[:len(sign)]) == sign {
			pieces[int(body[len(sign)])] = body[len(sign)+2:]
			total = int(body[len(sign)+1])
		}
		return true
	})
	var out []byte
	for i := 1; i <= total; i++ {
		p, ok := pieces[i]
		if !ok {
			return nil
		}
		out = append(out, p...)
	}
	return out
}

// split8 turns interleaved 8-bit pixels into planes of 0..1.
func split8(src []byte, r, g, b []float32) {
	g, b = g[:len(r)], b[:len(r)]
	for x := range r {
		p := src[3*x : 3*x+3 : 3*x+3]
		r[x], g[x], b[x] = unit8[p[0]], unit8[p[1]], unit8[p[2]]
	}
}

// unit8 is i/255.
var unit8 = func() (t [256]float32) {
	for i := range t {
		t[i] = float32(float64(i) / 255)
	}
	return t
}()

var bytePool sync.Pool // *[]byte

func getBytes(n int) []byte {
	if p, _ := bytePool.Get().(*[]byte); p != nil && cap(*p) >= n {
		return (*p)[:n]
	}
	return make([]byte, n)
}
