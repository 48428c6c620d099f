package simcam

import (
	"encoding/binary"
	"math"
	"slices"
)

// Field types of TIFF 6.0.
const (
	tByte      = 1
	tASCII     = 2
	tShort     = 3
	tLong      = 4
	tRational  = 5
	tUndefined = 7
	tSRational = 10
	tDouble    = 12
)

var le = binary.LittleEndian

// ifd is one image file directory, little-endian.
type ifd map[uint16]field

type field struct {
	kind  uint16
	count uint32
	data  []byte
}

func (d ifd) bytes(tag uint16, b ...byte)    { d[tag] = field{tByte, uint32(len(b)), b} }
func (d ifd) undefined(tag uint16, s string) { d[tag] = field{tUndefined, uint32(len(s)), []byte(s)} }
func (d ifd) text(tag uint16, s string) {
	d[tag] = field{tASCII, uint32(len(s) + 1), append([]byte(s), 0)}
}
func (d ifd) shorts(tag uint16, v ...int)      { d[tag] = field{tShort, uint32(len(v)), shorts(v)} }
func (d ifd) longs(tag uint16, v ...int)       { d[tag] = field{tLong, uint32(len(v)), longs(v)} }
func (d ifd) doubles(tag uint16, v ...float64) { d[tag] = field{tDouble, uint32(len(v)), doubles(v)} }

func shorts(v []int) (b []byte) {
	for _, x := range v {
		b = le.AppendUint16(b, uint16(x))
	}
	return b
}

func longs(v []int) (b []byte) {
	for _, x := range v {
		b = le.AppendUint32(b, uint32(x))
	}
	return b
}

func doubles(v []float64) (b []byte) {
	for _, x := range v {
		b = le.AppendUint64(b, math.Float64bits(x))
	}
	return b
}

// rationals stores values as fractions of one denominator, signed or not.
func (d ifd) rationals(tag uint16, kind uint16, denominator int, v ...float64) {
	var b []byte
	for _, x := range v {
		b = le.AppendUint32(b, uint32(int32(math.RoundToEven(x*float64(denominator)))))
		b = le.AppendUint32(b, uint32(denominator))
	}
	d[tag] = field{kind, uint32(len(v)), b}
}

func (d ifd) fraction(tag uint16, num, den uint32) {
	d[tag] = field{tRational, 1, le.AppendUint32(le.AppendUint32(nil, num), den)}
}

// size is the length of the directory with the values it refers to.
func (d ifd) size() int {
	n := 2 + 12*len(d) + 4
	for _, f := range d {
		if len(f.data) > 4 {
			n += (len(f.data) + 1) &^ 1
		}
	}
	return n
}

// append writes the directory as it must lie at the given offset in the file.
// next is the offset of the directory after it, 0 for none.
func (d ifd) append(out []byte, offset int) []byte {
	tags := make([]uint16, 0, len(d))
	for t := range d {
		tags = append(tags, t)
	}
	slices.Sort(tags)
	far := offset + 2 + 12*len(d) + 4
	var values []byte
	out = le.AppendUint16(out, uint16(len(d)))
	for _, t := range tags {
		f := d[t]
		out = le.AppendUint16(out, t)
		out = le.AppendUint16(out, f.kind)
		out = le.AppendUint32(out, f.count)
		if len(f.data) <= 4 {
			out = append(out, append(slices.Clone(f.data), 0, 0, 0, 0)[:4]...)
			continue
		}
		out = le.AppendUint32(out, uint32(far+len(values)))
		values = append(values, f.data...)
		if len(f.data)&1 == 1 {
			values = append(values, 0)
		}
	}
	out = le.AppendUint32(out, 0)
	return append(out, values...)
}

// tiffHeader starts a little-endian TIFF whose first directory lies at 8.
func tiffHeader(out []byte) []byte {
	return append(out, 'I', 'I', 42, 0, 8, 0, 0, 0)
}
