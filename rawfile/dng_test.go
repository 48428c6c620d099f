package rawfile

import (
	"encoding/binary"
	"math"
	"sort"
)

// testDNG writes an uncompressed little-endian DNG of one directory, for the
// structures the simulated camera does not make.
type testDNG map[uint16]struct {
	typ    uint16
	values []float64
	bytes  []byte
}

func (d testDNG) set(tag, typ uint16, values ...float64) {
	d[tag] = struct {
		typ    uint16
		values []float64
		bytes  []byte
	}{typ, values, nil}
}

func (d testDNG) raw(tag, typ uint16, b string) {
	d[tag] = struct {
		typ    uint16
		values []float64
		bytes  []byte
	}{typ, nil, []byte(b)}
}

const (
	short, long, rational, srational, double = 3, 4, 5, 10, 12
	scale                                    = 1 << 16
)

func (d testDNG) encode(tag uint16) (count uint32, out []byte) {
	f, le := d[tag], binary.LittleEndian
	if f.bytes != nil {
		return uint32(len(f.bytes)), f.bytes
	}
	for _, v := range f.values {
		switch f.typ {
		case 1:
			out = append(out, byte(v))
		case short:
			out = le.AppendUint16(out, uint16(v))
		case long:
			out = le.AppendUint32(out, uint32(v))
		case rational, srational:
			out = le.AppendUint32(out, uint32(int32(math.Round(v*scale))))
			out = le.AppendUint32(out, scale)
		case double:
			out = le.AppendUint64(out, math.Float64bits(v))
		}
	}
	return uint32(len(f.values)), out
}

// newDNG describes a 16-bit mosaic of w x h stored samples.
func newDNG(w, h int) testDNG {
	d := testDNG{}
	d.set(254, long, 0)
	d.set(256, long, float64(w))
	d.set(257, long, float64(h))
	d.set(258, short, 16)
	d.set(259, short, 1)
	d.set(262, short, 32803)
	d.raw(271, 2, "Larkfield\x00")
	d.raw(272, 2, "LF-2\x00")
	d.set(274, short, 8)
	d.set(277, short, 1)
	d.set(278, long, float64(h))
	d.set(279, long, float64(2*w*h))
	d.set(284, short, 1)
	d.set(33421, short, 2, 2)
	d.set(33422, 1, 0, 1, 1, 2)
	d.raw(50706, 1, "\x01\x04\x00\x00")
	d.raw(50708, 2, "Larkfield LF-2\x00")
	d.set(50714, short, 512)
	d.set(50717, long, 16383)
	d.set(50721, srational, .7, -.2, -.1, -.4, 1.2, .2, -.1, .2, .6)
	d.set(50778, short, 21)
	d.set(50728, rational, .5, 1, .6)
	return d
}

func (d testDNG) file(pix []uint16) []byte {
	le := binary.LittleEndian
	d.set(273, long, 0)
	var tags []int
	for t := range d {
		tags = append(tags, int(t))
	}
	sort.Ints(tags)
	at := 8 + 2 + 12*len(tags) + 4
	extra := 0
	for _, t := range tags {
		if _, b := d.encode(uint16(t)); len(b) > 4 {
			extra += len(b) + len(b)&1
		}
	}
	d.set(273, long, float64(at+extra))
	head := le.AppendUint32([]byte("II*\x00"), 8)
	head = le.AppendUint16(head, uint16(len(tags)))
	var tail []byte
	for _, t := range tags {
		n, b := d.encode(uint16(t))
		head = le.AppendUint16(head, uint16(t))
		head = le.AppendUint16(head, d[uint16(t)].typ)
		head = le.AppendUint32(head, n)
		if len(b) <= 4 {
			head = append(head, append(b, 0, 0, 0, 0)[:4]...)
			continue
		}
		head = le.AppendUint32(head, uint32(at+len(tail)))
		if tail = append(tail, b...); len(b)&1 == 1 {
			tail = append(tail, 0)
		}
	}
	out := append(le.AppendUint32(head, 0), tail...)
	for _, v := range pix {
		out = le.AppendUint16(out, v)
	}
	return out
}
