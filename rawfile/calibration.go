package rawfile

import "mullion/colour"

// calibration is the colour data a raw file or LibRaw's tables hold.
type calibration struct {
	dng      []dngColour // DNG only, at most two
	table    colour.Mat3 // XYZ to camera RGB under D65, zero when unknown
	toRec709 colour.Mat3 // balanced camera RGB to linear Rec. 709
	daylight colour.Vec3 // multipliers that balance daylight
	asShot   colour.Vec3 // multipliers the camera chose, zero when unknown
}

// dngColour is one of a DNG's calibrations: XYZ to camera RGB under one light.
type dngColour struct {
	kelvin float64 // 0 for a light of unknown kind
	matrix colour.Mat3
}

// The chromaticity temperatures of the light sources Exif names (tag 9208; CIPA
// DC-008), in kelvin: CIE 15 for the standard illuminants, the middle of the range
// the standard gives for the fluorescent kinds. Zero for the rest.
func illuminantKelvin(code int) float64 {
	switch code {
	case 3, 17: // tungsten, A
		return 2856
	case 18: // B
		return 4874
	case 19: // C
		return 6774
	case 1, 4, 9, 20: // daylight, flash, fine weather, D55
		return 5503
	case 10, 21: // cloudy, D65
		return 6504
	case 11, 22: // shade, D75
		return 7504
	case 23: // D50
		return 5003
	case 24: // ISO studio tungsten
		return 3200
	case 12: // daylight fluorescent, 5700 to 7100
		return 6400
	case 13: // day white fluorescent, 4600 to 5500
		return 5050
	case 2, 14: // fluorescent, cool white, 3800 to 4500
		return 4150
	case 15: // white fluorescent, 3250 to 3800
		return 3525
	case 16: // warm white fluorescent, 2600 to 3250
		return 2925
	}
	return 0
}

// camera builds the Camera from what there is, best source first: the DNG's own
// matrices, LibRaw's table, the matrix LibRaw derives from the maker's data, and
// at last a generic sensor.
func camera(c calibration) Camera {
	cam := Camera{Neutral: neutral(c.asShot)}
	switch {
	case len(c.dng) > 0:
		cam.fromDNG(c.dng)
	case usable(c.table):
		cam.Matrix1, cam.CCT1, cam.Known = c.table, 6504, true
	case usable(c.toRec709) && c.toRec709 != colour.Identity && positive(c.daylight):
		inv, _ := c.toRec709.Inverse()
		gains := colour.Vec3{1 / c.daylight[0], 1 / c.daylight[1], 1 / c.daylight[2]}
		cam.Matrix1 = colour.Diag(gains).Mul(inv).Mul(colour.XYZToSRGB)
		cam.CCT1, cam.Known = 6504, true
	default:
		cam.Matrix1, cam.CCT1 = genericMatrix(c.daylight), 6504
	}
	return cam
}

// fromDNG takes one or two calibrations, the warmer light first.
func (cam *Camera) fromDNG(c []dngColour) {
	cam.Known = true
	cam.Matrix1, cam.CCT1 = c[0].matrix, c[0].kelvin
	if len(c) > 1 {
		t2 := c[1].kelvin
		switch {
		case cam.CCT1 == 0:
			cam.Matrix1, cam.CCT1 = c[1].matrix, t2
		case t2 == 0 || t2 == cam.CCT1: // nothing to interpolate between
		case t2 < cam.CCT1:
			cam.Matrix2, cam.CCT2 = cam.Matrix1, cam.CCT1
			cam.Matrix1, cam.CCT1 = c[1].matrix, t2
		default:
			cam.Matrix2, cam.CCT2 = c[1].matrix, t2
		}
	}
	if cam.CCT1 == 0 {
		cam.CCT1 = 5003 // the DNG rule for a light of unknown kind
	}
}

// neutral turns white-balance multipliers into the camera RGB of a white surface.
func neutral(mul colour.Vec3) colour.Vec3 {
	if !positive(mul) {
		return colour.Vec3{}
	}
	n := colour.Vec3{1 / mul[0], 1 / mul[1], 1 / mul[2]}
	m := max(n[0], n[1], n[2])
	return colour.Vec3{n[0] / m, n[1] / m, n[2] / m}
}

func positive(v colour.Vec3) bool {
	for _, x := range v {
		if !(x > 0 && x < 1e6) {
			return false
		}
	}
	return true
}

func usable(m colour.Mat3) bool {
	_, ok := m.Inverse()
	return ok
}

// genericMatrix stands in for an unknown camera: filters with the primaries of
// Rec. 709, and the sensitivities that balance daylight, or a typical sensor's
// where even those are unknown (red 1/2, blue 2/3 of green: common practice, no
// source).
func genericMatrix(daylight colour.Vec3) colour.Mat3 {
	gains := colour.Vec3{1. / 2, 1, 2. / 3}
	if positive(daylight) && daylight != (colour.Vec3{1, 1, 1}) {
		gains = neutral(daylight)
	}
	return colour.Diag(gains).Mul(colour.XYZToSRGB)
}

// rec709Camera describes pixels LibRaw has already balanced and brought to linear
// Rec. 709.
func rec709Camera() Camera {
	return Camera{Matrix1: colour.XYZToSRGB, CCT1: 6504, Neutral: colour.Vec3{1, 1, 1}, Known: true}
}
