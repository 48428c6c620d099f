package simcam

import (
	"encoding/binary"
	"math/bits"
)

// losslessJPEG codes a mosaic of even width as DNG and most cameras do: the
// lossless process of ITU-T T.81 (process 14) with 16 bits, predictor 1 (the
// sample to the left) and two interleaved components, so that a red photosite is
// predicted from the red one before it.
func losslessJPEG(pix []uint16, w, h int) []byte {
	table := newHuffman(categories(pix, w, h))
	out := make([]byte, 0, len(pix)*2+1024)
	out = append(out, 0xff, 0xd8)
	dht := append([]byte{0}, table.bits[1:]...)
	out = segment(out, 0xc4, append(dht, table.values...))
	out = segment(out, 0xc3, []byte{16, byte(h >> 8), byte(h), byte(w / 2 >> 8), byte(w / 2), 2, 0, 0x11, 0, 1, 0x11, 0})
	out = segment(out, 0xda, []byte{2, 0, 0, 1, 0, 1, 0, 0})
	return append(scan(out, table, pix, w, h), 0xff, 0xd9)
}

func segment(out []byte, marker byte, body []byte) []byte {
	out = append(out, 0xff, marker)
	out = binary.BigEndian.AppendUint16(out, uint16(len(body)+2))
	return append(out, body...)
}

// The first sample of all is predicted by half the range, the first of a row by
// the one above it.
func predictors(pix []uint16, w, y int) (a, b uint16) {
	if y == 0 {
		return 1 << 15, 1 << 15
	}
	return pix[(y-1)*w], pix[(y-1)*w+1]
}

// category is the number of bits of a difference modulo 2^16: 0 to 16.
func category(d int16) uint {
	m := int32(d)
	if m < 0 {
		m = -m
	}
	return uint(bits.Len32(uint32(m)))
}

func categories(pix []uint16, w, h int) (n [17]int) {
	var count [32]int // 32, so that an index of five bits needs no check
	for y := range h {
		a, b := predictors(pix, w, y)
		row := pix[y*w : (y+1)*w]
		for x := 0; x+1 < len(row); x += 2 {
			p, q := row[x], row[x+1]
			count[category(int16(p-a))&31]++
			count[category(int16(q-b))&31]++
			a, b = p, q
		}
	}
	copy(n[:], count[:])
	return n
}

// scan appends the entropy-coded samples. Bits gather at the low end of acc and
// leave four bytes at a time.
func scan(out []byte, table *huffman, pix []uint16, w, h int) []byte {
	var code, length [32]uint64 // code already shifted over the difference's own bits
	for c := range 17 {
		extra := c
		if c == 16 { // 32768 alone, which needs no bits of its own
			extra = 0
		}
		code[c], length[c] = uint64(table.code[c])<<extra, uint64(table.length[c])+uint64(extra)
	}
	var acc, n uint64
	put := func(d int16) {
		c := category(d) & 31
		v := uint64(int64(d)+int64(d>>15)) & (1<<c - 1) // negative differences less one
		if c == 16 {
			v = 0
		}
		acc = acc<<length[c] | code[c] | v
		n += length[c]
		if n >= 32 {
			n -= 32
			out = stuffed(out, uint32(acc>>n))
		}
	}
	for y := range h {
		a, b := predictors(pix, w, y)
		row := pix[y*w : (y+1)*w]
		for x := 0; x+1 < len(row); x += 2 {
			p, q := row[x], row[x+1]
			put(int16(p - a))
			put(int16(q - b))
			a, b = p, q
		}
	}
	for n > 0 { // the last byte is filled with ones
		if n < 8 {
			acc, n = acc<<(8-n)|(1<<(8-n)-1), 8
		}
		n -= 8
		out = stuffedByte(out, byte(acc>>n))
	}
	return out
}

// stuffed appends four bytes with a zero after every 255, so that none looks
// like a marker.
func stuffed(out []byte, v uint32) []byte {
	if v&^(v+0x01010101)&0x80808080 == 0 {
		return binary.BigEndian.AppendUint32(out, v)
	}
	for s := 24; s >= 0; s -= 8 {
		out = stuffedByte(out, byte(v>>s))
	}
	return out
}

func stuffedByte(out []byte, b byte) []byte {
	if b == 0xff {
		return append(out, b, 0)
	}
	return append(out, b)
}
