package rawfile

import "mullion/colour"

// The few colour spaces that file profiles need, computed from their published
// chromaticities.
var (
	whiteD65 = xyzOf(0.3127, 0.3290)

	xyzToRec709, _ = rgbToXYZ(0.640, 0.330, 0.300, 0.600, 0.150, 0.060).Inverse() // ITU-R BT.709
	xyzToBT2020, _ = rgbToXYZ(0.708, 0.292, 0.170, 0.797, 0.131, 0.046).Inverse() // ITU-R BT.2020
	rec709ToBT2020 = xyzToBT2020.Mul(rgbToXYZ(0.640, 0.330, 0.300, 0.600, 0.150, 0.060))
)

func xyzOf(x, y float64) colour.Vec3 { return colour.Vec3{x / y, 1, (1 - x - y) / y} }

// rgbToXYZ is the matrix of RGB primaries with a D65 white.
func rgbToXYZ(rx, ry, gx, gy, bx, by float64) colour.Mat3 {
	r, g, b := xyzOf(rx, ry), xyzOf(gx, gy), xyzOf(bx, by)
	m := colour.Mat3{{r[0], g[0], b[0]}, {r[1], g[1], b[1]}, {r[2], g[2], b[2]}}
	inv, _ := m.Inverse()
	return m.Mul(colour.Diag(inv.Apply(whiteD65)))
}

// bradford adapts XYZ from one white to another (Lam 1985; the form of ICC.1:2022,
// annex E).
func bradford(from, to colour.Vec3) colour.Mat3 {
	cone := colour.Mat3{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}
	inv, _ := cone.Inverse()
	f, t := cone.Apply(from), cone.Apply(to)
	return inv.Mul(colour.Diag(colour.Vec3{t[0] / f[0], t[1] / f[1], t[2] / f[2]})).Mul(cone)
}
