package warp

import "math"

// Encode returns a logarithm to base two of v, in EV, that a computer finds
// easy: whole numbers at powers of two, and between them the one quadratic that
// keeps the slope continuous. It differs from the true logarithm by less than
// 0.01 EV and is inverted exactly, up to rounding, by [Decode]. v at or below
// 2^-100 counts as that, anything above 2^127 as that.
func Encode(v float32) float32 {
	if !(v > 0x1p-100) { // NaN too
		v = 0x1p-100
	} else if v > 0x1p127 {
		v = 0x1p127
	}
	b := math.Float32bits(v)
	e := float32(int32(b>>23) - 127)
	m := math.Float32frombits(b&0x7fffff|0x3f800000) - 1
	return e + m*(4-m)*(1./3)
}

// Decode is the inverse of Encode.
func Decode(c float32) float32 {
	if c > 127 {
		c = 127
	}
	e := int32(c)
	if float32(e) > c {
		e--
	}
	if e < -126 {
		return 0
	}
	f := c - float32(e)
	m := 2 - float32(math.Sqrt(float64(4-3*f)))
	return (1 + m) * math.Float32frombits(uint32(e+127)<<23)
}

// encodeRow writes Encode(src + pedestal) to dst.
func encodeRow(dst, src []float32, pedestal float32) {
	n := fastEncode(dst, src, pedestal)
	encodeRowGo(dst[n:], src[n:], pedestal)
}

func encodeRowGo(dst, src []float32, pedestal float32) {
	src = src[:len(dst)]
	for i, v := range src {
		dst[i] = Encode(v + pedestal)
	}
}

// decodeRow replaces dst by Decode(dst) - pedestal.
func decodeRow(dst []float32, pedestal float32) {
	decodeRowGo(dst[fastDecode(dst, pedestal):], pedestal)
}

func decodeRowGo(dst []float32, pedestal float32) {
	for i, v := range dst {
		dst[i] = Decode(v) - pedestal
	}
}
