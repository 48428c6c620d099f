package simcam

import "mullion/colour"

// Linear RGB to XYZ for the primaries of ITU-R BT.709 and BT.2020 with the D65
// white x 0.3127, y 0.3290, and the map between the two.
var (
	xyzFromBT709 = colour.Mat3{
		{.4123908, .3575843, .1804808},
		{.2126390, .7151687, .0721923},
		{.0193308, .1191948, .9505322},
	}
	xyzFromBT2020 = colour.Mat3{
		{.6369580, .1446169, .1688810},
		{.2627002, .6779981, .0593017},
		{0, .0280727, 1.0609851},
	}
	bt2020FromBT709 = inverse(xyzFromBT2020).Mul(xyzFromBT709)
)

func inverse(m colour.Mat3) colour.Mat3 {
	n, ok := m.Inverse()
	if !ok {
		panic("simcam: a colour matrix without inverse")
	}
	return n
}
