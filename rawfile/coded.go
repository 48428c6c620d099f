package rawfile

import (
	"mullion/colour"
	"mullion/internal/raster"
)

// coded joins a rendered file's pixels with the meaning its profile gives them. A
// file without a profile, or with one that is no matrix profile, counts as sRGB.
func coded(rgb *raster.RGB, bits int, icc []byte) *Coded {
	c := &Coded{RGB: rgb, Bits: bits, Assumed: true}
	p, err := parseProfile(icc)
	if err != nil {
		c.ToLinear = [3]func(float32) float32{srgbTable.at, srgbTable.at, srgbTable.at}
		c.ToBT2020 = colour.SRGBToBT2020
		return c
	}
	c.Assumed = false
	for i := range 3 {
		c.ToLinear[i] = tabulate(p.curve[i]).at
	}
	// The profile's own white is what its columns add up to: D50 in a good profile.
	// Adapting from it keeps greys grey even in one that is a little off.
	white := p.matrix.Apply(colour.Vec3{1, 1, 1})
	c.ToBT2020 = colour.XYZToBT2020.Mul(colour.Adapt(colour.Bradford, white, colour.D65.XYZ())).Mul(p.matrix)
	return c
}

// table is a curve sampled finely enough that reading between the samples is exact
// to float32.
type table []float32

const tableSteps = 1 << 14

var srgbTable = tabulate(colour.DecodeSRGB)

func tabulate(c curve) table {
	t := make(table, tableSteps+2)
	for i := range t {
		t[i] = float32(c(min(float64(i)/tableSteps, 1)))
	}
	return t
}

// at returns the curve at x, with x clamped to 0..1.
func (t table) at(x float32) float32 {
	if !(x > 0) {
		return t[0]
	}
	if x >= 1 {
		return t[tableSteps]
	}
	p := x * tableSteps
	i := int(p)
	return t[i] + (t[i+1]-t[i])*(p-float32(i))
}
