package rawfile

import (
	"encoding/binary"
	"errors"
)

// Lossless JPEG (ITU-T T.81, annex H) is how almost every DNG packs its samples.
// LibRaw reads it too; this decoder is there because it is twice as fast and reads
// tiles on all cores. It knows what DNG files contain (Huffman coding, predictor 1,
// no restart markers) and leaves the rest to LibRaw.

var (
	errLJPEGOther = errors.New("another kind of lossless JPEG")
	errLJPEGShort = errors.New("the sensor data end too early")
	errLJPEGWrong = errors.New("the sensor data make no sense")
)

// ljpeg is the header of one lossless JPEG.
type ljpeg struct {
	w, h, n int // samples a line of each component, lines, components
	bits    int
	tables  [4]*huffman // by component
	scan    []byte      // entropy-coded data
}

// huffman looks the next bits up. Nine in ten differences fit with their code into
// shortBits bits: their table answers at once and stays in the fastest cache.
type huffman struct {
	// The code's length in the high byte, the difference's number of bits in the low
	// one, by the next 16 bits; 0 for bits that are no code.
	code [1 << 16]uint16
	// The difference, and in the low byte the bits it takes with its code, by the next
	// shortBits bits; 0 where that isn't enough.
	short [1 << shortBits]int32
}

const shortBits = 12

// shorten fills the table of short differences.
func (t *huffman) shorten() {
	for i := range t.short {
		e := t.code[i<<(16-shortBits)]
		length, size := int(e>>8), int(e&0xFF)
		if length == 0 || length+size > shortBits {
			continue
		}
		v := int32(i>>(shortBits-length-size)) & (1<<size - 1)
		if size > 0 && v < 1<<(size-1) {
			v -= 1<<size - 1
		}
		t.short[i] = v<<8 | int32(length+size)
	}
}

func parseLJPEG(b []byte) (*ljpeg, error) {
	if len(b) < 4 || b[0] != 0xFF || b[1] != 0xD8 {
		return nil, errLJPEGOther
	}
	j := &ljpeg{}
	var ids [4]byte
	tables := map[byte]*huffman{}
	var err error
	segments(b, func(marker byte, at int, body []byte) bool {
		switch marker {
		case 0xC3:
			err = j.frame(body, &ids)
		case 0xC4:
			err = parseHuffman(body, tables)
		case 0xDA:
			if err = j.start(body, ids, tables); err == nil {
				j.scan = b[at+4+len(body):]
			}
		case 0xC0, 0xC1, 0xC2, 0xDD: // lossy frames, restart intervals
			err = errLJPEGOther
		}
		return err == nil
	})
	if err == nil && j.scan == nil {
		err = errLJPEGShort
	}
	return j, err
}

func (j *ljpeg) frame(b []byte, ids *[4]byte) error {
	if len(b) < 6 {
		return errLJPEGWrong
	}
	j.bits, j.h, j.w, j.n = int(b[0]), int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:])), int(b[5])
	if j.n < 1 || j.n > 4 || len(b) < 6+3*j.n || j.w < 1 || j.h < 1 || j.bits < 2 || j.bits > 16 {
		return errLJPEGOther
	}
	for i := range j.n {
		ids[i] = b[6+3*i]
		if b[7+3*i] != 0x11 { // subsampled
			return errLJPEGOther
		}
	}
	return nil
}

func (j *ljpeg) start(b []byte, ids [4]byte, tables map[byte]*huffman) error {
	if j.n == 0 || len(b) < 4+2*j.n || int(b[0]) != j.n {
		return errLJPEGOther
	}
	for i := range j.n {
		if b[1+2*i] != ids[i] {
			return errLJPEGOther
		}
		j.tables[i] = tables[b[2+2*i]>>4]
		if j.tables[i] == nil {
			return errLJPEGWrong
		}
	}
	if p := b[1+2*j.n:]; p[0] != 1 || p[2] != 0 { // predictor 1, no point transform
		return errLJPEGOther
	}
	return nil
}

// parseHuffman reads DHT segments: the numbers of codes of 1 to 16 bits, then the
// values in order (annex C).
func parseHuffman(b []byte, tables map[byte]*huffman) error {
	for len(b) >= 17 {
		t, code, used := new(huffman), 0, 17
		for length := 1; length <= 16; length++ {
			for range b[length] {
				if used >= len(b) || b[used] > 16 || code >= 1<<16 {
					return errLJPEGWrong
				}
				step := 1 << (16 - length)
				for k := code; k < min(code+step, 1<<16); k++ {
					t.code[k] = uint16(length)<<8 | uint16(b[used])
				}
				code += step
				used++
			}
		}
		t.shorten()
		tables[b[0]&15] = t
		b = b[used:]
	}
	return nil
}

// bitReader reads entropy-coded data from the top of acc, which holds n bits.
type bitReader struct {
	b    []byte
	at   int
	acc  uint64
	n    int
	past int // bytes asked for beyond the end or a marker
}

// fill tops acc up to at least 32 bits. After the end come zeros.
func (r *bitReader) fill() {
	if r.at+4 <= len(r.b) {
		v := binary.BigEndian.Uint32(r.b[r.at:])
		// Four bytes at once when none of them is FF, which a zero must follow.
		if inv := ^v; (inv-0x01010101)&^inv&0x80808080 == 0 {
			r.acc |= uint64(v) << (32 - r.n)
			r.at += 4
			r.n += 32
			return
		}
	}
	for r.n <= 32 {
		var c byte
		switch {
		case r.at >= len(r.b):
			r.past++
		case r.b[r.at] != 0xFF:
			c = r.b[r.at]
			r.at++
		case r.at+1 < len(r.b) && r.b[r.at+1] == 0:
			c = 0xFF
			r.at += 2
		default: // a marker
			r.past++
		}
		r.acc |= uint64(c) << (56 - r.n)
		r.n += 8
	}
}

// next decodes one difference (annex H.1.2.2). A code is at most 16 bits and a
// difference 16 more, so one fill serves both.
func (r *bitReader) next(t *huffman) (diff int32, ok bool) {
	if r.n < 32 {
		r.fill()
	}
	if s := t.short[r.acc>>(64-shortBits)]; s != 0 {
		bits := uint(s & 0xFF)
		r.acc <<= bits
		r.n -= int(bits)
		return s >> 8, true
	}
	e := t.code[r.acc>>48]
	length, size := uint(e>>8), uint(e&0xFF)
	if length == 0 {
		return 0, false
	}
	r.acc <<= length
	r.n -= int(length)
	if size == 0 {
		return 0, true
	}
	if size == 16 {
		return 32768, true
	}
	v := int32(r.acc >> (64 - size))
	if v < 1<<(size-1) {
		v -= 1<<size - 1
	}
	r.acc <<= size
	r.n -= int(size)
	return v, true
}

// decode writes the samples line by line, components interleaved, w*n a line, into
// dst with stride samples a line.
func (j *ljpeg) decode(dst []uint16, stride int) error {
	r := bitReader{b: j.scan}
	width := j.w * j.n
	first := uint16(1) << (j.bits - 1)
	for y := range j.h {
		row := dst[y*stride : y*stride+width]
		var pred [4]uint16
		for c := range j.n {
			if pred[c] = first; y > 0 {
				pred[c] = dst[(y-1)*stride+c]
			}
		}
		if !j.line(&r, row, &pred) {
			return errLJPEGWrong
		}
		if r.past > 8 {
			return errLJPEGShort
		}
	}
	return nil
}

func (j *ljpeg) line(r *bitReader, row []uint16, pred *[4]uint16) bool {
	if j.n == 2 {
		return pairs(r, row, pred[0], pred[1], j.tables[0], j.tables[1])
	}
	c := 0
	for x := range row {
		d, ok := r.next(j.tables[c])
		if !ok {
			return false
		}
		pred[c] += uint16(d)
		row[x] = pred[c]
		if c++; c == j.n {
			c = 0
		}
	}
	return true
}

// pairs decodes a line of two components. One fill serves both samples as long as both
// are short.
func pairs(r *bitReader, row []uint16, p0, p1 uint16, t0, t1 *huffman) bool {
	for x := 0; x+1 < len(row); x += 2 {
		if r.n < 32 {
			r.fill()
		}
		acc := r.acc
		s0 := t0.short[acc>>(64-shortBits)]
		s1 := t1.short[acc<<uint(s0&0xFF)>>(64-shortBits)]
		if s0 != 0 && s1 != 0 {
			bits := uint(s0&0xFF + s1&0xFF)
			r.acc = acc << bits
			r.n -= int(bits)
			p0 += uint16(s0 >> 8)
			p1 += uint16(s1 >> 8)
		} else {
			d0, ok0 := r.next(t0)
			d1, ok1 := r.next(t1)
			if !ok0 || !ok1 {
				return false
			}
			p0 += uint16(d0)
			p1 += uint16(d1)
		}
		row[x], row[x+1] = p0, p1
	}
	return true
}
