package imprint

import (
	"encoding/binary"
	"math"
)

// Field types of TIFF 6.0.
const (
	typeASCII     = 2
	typeShort     = 3
	typeLong      = 4
	typeRational  = 5
	typeUndefined = 7
)

// entry is one field of an image file directory.
type entry struct {
	tag, kind uint16
	count     uint32
	data      []byte
}

// directory is an image file directory in the making; tags are added in
// ascending order, as TIFF asks.
type directory []entry

func (d *directory) ascii(tag uint16, s string) {
	if s != "" {
		// Exif 2 has no Unicode text; UTF-8 in the ASCII type is common practice.
		*d = append(*d, entry{tag, typeASCII, uint32(len(s) + 1), append([]byte(s), 0)})
	}
}

func (d *directory) short(tag uint16, v ...uint16) {
	var b []byte
	for _, x := range v {
		b = binary.BigEndian.AppendUint16(b, x)
	}
	*d = append(*d, entry{tag, typeShort, uint32(len(v)), b})
}

func (d *directory) long(tag uint16, v uint32) {
	*d = append(*d, entry{tag, typeLong, 1, binary.BigEndian.AppendUint32(nil, v)})
}

func (d *directory) undefined(tag uint16, b string) {
	*d = append(*d, entry{tag, typeUndefined, uint32(len(b)), []byte(b)})
}

// rational writes a positive number; zero and what is no number stay out.
func (d *directory) rational(tag uint16, v float64) {
	if !(v > 0) || v > 1e6 {
		return
	}
	num, den := fraction(v)
	b := binary.BigEndian.AppendUint32(nil, num)
	*d = append(*d, entry{tag, typeRational, 1, binary.BigEndian.AppendUint32(b, den)})
}

// fraction writes a short exposure as 1/n and anything else in thousandths.
func fraction(v float64) (num, den uint32) {
	if v < 0.3 {
		if n := math.Round(1 / v); n < 1e9 && math.Abs(1/n-v) < 1e-3*v {
			return 1, uint32(n)
		}
		return uint32(math.Round(v * 1e6)), 1e6
	}
	n := uint32(math.Round(v * 1000))
	for _, k := range []uint32{1000, 100, 10} {
		if n%k == 0 {
			return n / k, 1000 / k
		}
	}
	return n, 1000
}

// bytes lays the directory out at the given offset of the file.
func (d directory) bytes(offset int) []byte {
	out := binary.BigEndian.AppendUint16(nil, uint16(len(d)))
	values := offset + 2 + 12*len(d) + 4
	var tail []byte
	for _, e := range d {
		out = binary.BigEndian.AppendUint16(out, e.tag)
		out = binary.BigEndian.AppendUint16(out, e.kind)
		out = binary.BigEndian.AppendUint32(out, e.count)
		if len(e.data) <= 4 {
			out = append(out, append(e.data, make([]byte, 4-len(e.data))...)...)
			continue
		}
		out = binary.BigEndian.AppendUint32(out, uint32(values+len(tail)))
		tail = append(tail, e.data...)
		if len(tail)%2 == 1 {
			tail = append(tail, 0)
		}
	}
	out = append(out, 0, 0, 0, 0) // no further directory: no thumbnail
	return append(out, tail...)
}

// exif returns a big-endian TIFF structure with the primary directory and the
// Exif directory. There is no GPS directory and no thumbnail.
func exif(a About, w, h, dpi int) []byte {
	if dpi <= 0 {
		dpi = 72
	}
	sub := exifDirectory(a, w, h)
	build := func(at uint32) directory {
		var d directory
		d.ascii(0x010E, a.Description)
		d.short(0x0112, 1) // upright: the pixels are turned already
		d.rational(0x011A, float64(dpi))
		d.rational(0x011B, float64(dpi))
		d.short(0x0128, 2) // inches
		d.ascii(0x0131, a.Software)
		d.ascii(0x013B, a.Who.Creator)
		d.short(0x0213, 1) // chroma centred
		d.ascii(0x8298, a.Who.Notice(a.Taken))
		d.long(0x8769, at)
		return d
	}
	out := []byte("MM\x00\x2A\x00\x00\x00\x08")
	first := build(0).bytes(8)
	at := 8 + len(first)
	out = append(out, build(uint32(at)).bytes(8)...)
	return append(out, sub.bytes(at)...)
}

func exifDirectory(a About, w, h int) directory {
	var d directory
	merge := a.Merged > 1
	if !merge {
		d.rational(0x829A, a.Seconds)
	}
	d.rational(0x829D, a.FNumber)
	if a.ISO >= 1 && a.ISO < 65535 {
		d.short(0x8827, uint16(math.Round(a.ISO)))
	}
	d.undefined(0x9000, "0232")
	zone, subsec := "", ""
	if !a.Taken.IsZero() {
		d.ascii(0x9003, a.Taken.Format("2006:01:02 15:04:05"))
		if a.HasZone {
			zone = a.Taken.Format("-07:00")
		}
		if a.HasSubsec {
			subsec = a.Taken.Format(".000")[1:]
		}
	}
	d.ascii(0x9011, zone)
	d.undefined(0x9101, "\x01\x02\x03\x00") // Y Cb Cr
	d.rational(0x920A, a.FocalMM)
	d.ascii(0x9291, subsec)
	d.undefined(0xA000, "0100")
	d.short(0xA001, 1) // sRGB
	d.long(0xA002, uint32(w))
	d.long(0xA003, uint32(h))
	if a.Focal35MM >= 1 && a.Focal35MM < 65535 {
		d.short(0xA405, uint16(math.Round(a.Focal35MM)))
	}
	if merge { // Exif 2.32: a general composite, and from how many images
		d.short(0xA460, 2)
		d.short(0xA461, uint16(min(max(a.Frames, a.Merged), math.MaxUint16)), uint16(min(a.Merged, math.MaxUint16)))
	} else {
		d.short(0xA460, 1)
	}
	return d
}
