package colour

import (
	"math"
	"sync"
)

// EncodeSRGB is the sRGB transfer function from linear light 0..1 to code 0..1
// (IEC 61966-2-1). It continues oddly below zero and past one.
func EncodeSRGB(l float64) float64 {
	switch {
	case l < 0:
		return -EncodeSRGB(-l)
	case l <= 0.0031308:
		return 12.92 * l
	}
	return 1.055*math.Pow(l, 1/2.4) - 0.055
}

// DecodeSRGB is the sRGB transfer function from code 0..1 to linear light 0..1
// (IEC 61966-2-1). It continues oddly below zero and past one.
func DecodeSRGB(c float64) float64 {
	switch {
	case c < 0:
		return -DecodeSRGB(-c)
	case c <= 0.04045:
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}

const decodeSteps = 4096

var decodeTable = sync.OnceValue(func() *[decodeSteps + 2]float32 {
	t := new([decodeSteps + 2]float32)
	for i := range t {
		t[i] = float32(DecodeSRGB(float64(i) / decodeSteps))
	}
	return t
})

// DecodeSRGBRow writes the linear light of the codes in src to dst, which may be
// src. Codes are clamped to 0..1; the error is under 1e-6.
func DecodeSRGBRow(dst, src []float32) {
	t := decodeTable()
	dst = dst[:len(src)]
	for i, c := range src {
		if !(c > 0) {
			dst[i] = 0
			continue
		}
		if c >= 1 {
			dst[i] = 1
			continue
		}
		c *= decodeSteps
		k := int(c)
		f := c - float32(k)
		dst[i] = t[k] + f*(t[k+1]-t[k])
	}
}

// The encode table has 128 steps an octave over the 9 octaves below 1, indexed
// by the leading bits of the float; below them the function is linear.
const (
	encodeLow   = 1. / 512
	encodeShift = 23 - 7
)

var encodeTable = sync.OnceValue(func() *[9*128 + 1]float32 {
	t := new([9*128 + 1]float32)
	lo := math.Float32bits(encodeLow) >> encodeShift
	for i := range t {
		t[i] = float32(EncodeSRGB(float64(math.Float32frombits((lo + uint32(i)) << encodeShift))))
	}
	return t
})

// EncodeSRGBRow writes the sRGB codes of the linear light in src to dst, which
// may be src. Light is clamped to 0..1; the error is under 1e-5, a
// four-hundredth of an 8-bit code.
func EncodeSRGBRow(dst, src []float32) {
	t := encodeTable()
	lo := math.Float32bits(encodeLow) >> encodeShift
	dst = dst[:len(src)]
	for i, l := range src {
		switch {
		case !(l > 0):
			dst[i] = 0
		case l < encodeLow:
			dst[i] = 12.92 * l
		case l >= 1:
			dst[i] = 1
		default:
			bits := math.Float32bits(l)
			k := bits>>encodeShift - lo
			f := float32(bits&(1<<encodeShift-1)) * (1. / (1 << encodeShift))
			dst[i] = t[k] + f*(t[k+1]-t[k])
		}
	}
}
