package colour

import (
	"errors"
	"math"
)

// Calibration is a camera's colour calibration as the DNG specification keeps it
// ("Mapping Camera Color Space to CIE XYZ Space"): matrices from XYZ to camera
// RGB, measured under one light or under two.
type Calibration struct {
	Matrix1, Matrix2 Mat3
	CCT1, CCT2       float64 // kelvin of the lights; CCT2 = 0 when there is only Matrix1
	// Correction is AnalogBalance x CameraCalibration; zero means identity.
	Correction Mat3
}

// At returns the matrix from XYZ to camera RGB under a light of the given
// correlated colour temperature: linear in reciprocal temperature between the
// two lights, the nearer matrix beyond them.
func (c Calibration) At(kelvin float64) Mat3 {
	m := c.Matrix1
	if c.CCT2 > 0 && c.CCT1 > 0 && c.CCT1 != c.CCT2 && kelvin > 0 {
		g := (1/kelvin - 1/c.CCT2) / (1/c.CCT1 - 1/c.CCT2) // share of Matrix1
		g = math.Max(0, math.Min(1, g))
		for i := range 3 {
			for j := range 3 {
				m[i][j] = g*c.Matrix1[i][j] + (1-g)*c.Matrix2[i][j]
			}
		}
	}
	if c.Correction == (Mat3{}) {
		return m
	}
	return c.Correction.Mul(m)
}

// Neutral returns the camera RGB of a white surface under the light, largest
// channel 1.
func (c Calibration) Neutral(light XY) Vec3 {
	k, _ := CCTRobertson(light)
	n := c.At(k).Apply(light.XYZ())
	s := math.Max(n[0], math.Max(n[1], n[2]))
	return Vec3{n[0] / s, n[1] / s, n[2] / s}
}

// Light returns the chromaticity of the light in which the camera sees a white
// surface as neutral: the inverse of Neutral, by the iteration of the DNG
// specification (until x and y move less than 1e-7; if they swing between two
// values, their mean).
func (c Calibration) Light(neutral Vec3) (XY, error) {
	if !(neutral[0] > 0 && neutral[1] > 0 && neutral[2] > 0) {
		return XY{}, errors.New("colour: the camera's neutral has a channel that is not positive")
	}
	last := D50
	for pass := range 30 {
		k, _ := CCTRobertson(last)
		inv, ok := c.At(k).Inverse()
		if !ok {
			return XY{}, errSingular
		}
		next := Chromaticity(inv.Apply(neutral))
		if !next.Known() {
			return XY{}, errors.New("colour: the camera's neutral is no light its matrix can see")
		}
		if math.Abs(next.X-last.X)+math.Abs(next.Y-last.Y) < 1e-7 {
			return next, nil
		}
		if pass == 29 {
			next = XY{(next.X + last.X) / 2, (next.Y + last.Y) / 2}
		}
		last = next
	}
	return last, nil
}

var errSingular = errors.New("colour: the camera's colour matrix has no inverse")

// CameraToScene returns the map from linear camera RGB to linear BT.2020 that
// keeps the colour of the light, and the chromaticity of the light by the
// camera's neutral (zero when neutral is zero).
//
// m1 and m2 take XYZ to camera RGB under lights of cct1 and cct2 kelvin (cct2 =
// 0: only m1); they are interpolated for the light of neutral, or for D65 when
// it is unknown. The scale is that of a camera whose green channel gives 1 for a
// white of luminance 1 under D65, so the luminance of that white is kept.
func CameraToScene(m1, m2 Mat3, cct1, cct2 float64, neutral Vec3) (toBT2020 Mat3, light XY, err error) {
	c := Calibration{Matrix1: m1, Matrix2: m2, CCT1: cct1, CCT2: cct2}
	kelvin, _ := CCTRobertson(D65)
	if neutral != (Vec3{}) {
		if light, err = c.Light(neutral); err != nil {
			return Identity, XY{}, err
		}
		kelvin, _ = CCTRobertson(light)
	}
	m := c.At(kelvin)
	inv, ok := m.Inverse()
	if !ok {
		return Identity, XY{}, errSingular
	}
	green := m.Apply(D65.XYZ())[1]
	if !(green > 0) {
		return Identity, XY{}, errors.New("colour: the camera's colour matrix gives no green for white")
	}
	return XYZToBT2020.Mul(inv).Mul(Diag(Vec3{green, green, green})), light, nil
}
