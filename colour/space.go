package colour

// XY is a CIE 1931 chromaticity.
type XY struct{ X, Y float64 }

// White points (CIE 15:2004, table T.3 and T.8; 2 degree observer).
var (
	D50 = XY{0.34570, 0.35850}
	D55 = XY{0.33243, 0.34744}
	D65 = XY{0.31270, 0.32900}
	D75 = XY{0.29903, 0.31488}

	IlluminantA = XY{0.44758, 0.40745}
	IlluminantE = XY{1. / 3, 1. / 3}
)

// XYZ returns the tristimulus values of chromaticity c at luminance 1.
func (c XY) XYZ() Vec3 { return Vec3{c.X / c.Y, 1, (1 - c.X - c.Y) / c.Y} }

// Known reports whether c is a chromaticity at all; the zero XY stands for an
// unknown light.
func (c XY) Known() bool { return c.X > 0 && c.Y > 0 }

// Chromaticity returns the chromaticity of XYZ values; zero for black.
func Chromaticity(xyz Vec3) XY {
	s := xyz[0] + xyz[1] + xyz[2]
	if s <= 0 {
		return XY{}
	}
	return XY{xyz[0] / s, xyz[1] / s}
}

// UV returns the CIE 1960 uniform chromaticity (u, v), in which colour
// temperature and Duv are defined.
func (c XY) UV() (u, v float64) {
	d := -2*c.X + 12*c.Y + 3
	return 4 * c.X / d, 6 * c.Y / d
}

// FromUV is the inverse of [XY.UV].
func FromUV(u, v float64) XY {
	d := 2*u - 8*v + 4
	return XY{3 * u / d, 2 * v / d}
}

// RGBToXYZ derives the matrix from linear RGB to XYZ from the chromaticities of
// the primaries and the white (SMPTE RP 177-1993).
func RGBToXYZ(r, g, b, white XY) Mat3 {
	var p Mat3
	for j, c := range []XY{r, g, b} {
		v := c.XYZ()
		for i := range 3 {
			p[i][j] = v[i]
		}
	}
	return p.Mul(Diag(p.inverse().Apply(white.XYZ())))
}

// inverse is Inverse for the matrices of this package that are known to have one.
func (m Mat3) inverse() Mat3 {
	r, ok := m.Inverse()
	if !ok {
		panic("colour: singular matrix")
	}
	return r
}

// Matrices between linear RGB and XYZ. The primaries are those of ITU-R BT.709
// (shared by IEC 61966-2-1, sRGB) and of ITU-R BT.2020; both have a D65 white.
var (
	SRGBToXYZ   = RGBToXYZ(XY{0.640, 0.330}, XY{0.300, 0.600}, XY{0.150, 0.060}, D65)
	BT2020ToXYZ = RGBToXYZ(XY{0.708, 0.292}, XY{0.170, 0.797}, XY{0.131, 0.046}, D65)

	XYZToSRGB   = SRGBToXYZ.inverse()
	XYZToBT2020 = BT2020ToXYZ.inverse()

	SRGBToBT2020 = XYZToBT2020.Mul(SRGBToXYZ)
	BT2020ToSRGB = XYZToSRGB.Mul(BT2020ToXYZ)
)

// ApplyRow applies m in place to a row of pixels held in three planes. g and b
// must be at least as long as r.
func (m Mat3) ApplyRow(r, g, b []float32) {
	g, b = g[:len(r)], b[:len(r)]
	m00, m01, m02 := float32(m[0][0]), float32(m[0][1]), float32(m[0][2])
	m10, m11, m12 := float32(m[1][0]), float32(m[1][1]), float32(m[1][2])
	m20, m21, m22 := float32(m[2][0]), float32(m[2][1]), float32(m[2][2])
	for i, x := range r {
		y, z := g[i], b[i]
		r[i] = m00*x + m01*y + m02*z
		g[i] = m10*x + m11*y + m12*z
		b[i] = m20*x + m21*y + m22*z
	}
}
