package colour

// Cone-like spaces in which a change of light is a scaling of each channel
// (XYZ to the space; rows as published).
var (
	// Bradford: Lam, thesis, University of Bradford, 1985; used by ICC and DNG.
	Bradford = Mat3{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}
	// CAT02: CIE 159:2004 (CIECAM02).
	CAT02 = Mat3{{0.7328, 0.4296, -0.1624}, {-0.7036, 1.6975, 0.0061}, {0.0030, 0.0136, 0.9834}}
	// CAT16: Li et al., Color Res. Appl. 42:703, 2017 (CIECAM16).
	CAT16 = Mat3{{0.401288, 0.650173, -0.051461}, {-0.250268, 1.204414, 0.045854}, {-0.002079, 0.048952, 0.953127}}
	// VonKries: Hunt-Pointer-Estevez cone responses, normalised to D65.
	VonKries = Mat3{{0.40024, 0.70760, -0.08081}, {-0.22630, 1.16532, 0.04570}, {0, 0, 0.91822}}
)

// Adapt returns the map of XYZ under the light of white from to XYZ under the
// light of white to: complete adaptation by scaling in the cone-like space cone.
// Pass [Identity] for plain XYZ scaling. Whites are XYZ with Y = 1.
func Adapt(cone Mat3, from, to Vec3) Mat3 {
	f, t := cone.Apply(from), cone.Apply(to)
	return cone.inverse().Mul(Diag(Vec3{t[0] / f[0], t[1] / f[1], t[2] / f[2]})).Mul(cone)
}

// BalanceBT2020 returns the map of linear BT.2020 scene colour, in which
// surfaces keep the colour of the light, to BT.2020 in which a white surface
// under that light is grey (R = G = B). The adaptation is CAT16. Luminance of
// the white is kept.
func BalanceBT2020(light XY) Mat3 {
	return XYZToBT2020.Mul(Adapt(CAT16, light.XYZ(), D65.XYZ())).Mul(BT2020ToXYZ)
}
