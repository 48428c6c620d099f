// Package rawfile turns camera files into numbers the merge can trust: the
// sensor's own mosaic with its calibration where there is one, linear RGB where
// there is not.
package rawfile

import (
	"mullion/colour"
	"mullion/internal/raster"
	"mullion/metadata"
)

// Kind says what a frame's pixels are.
type Kind int

const (
	// KindMosaic: one sample a photosite, in sensor counts, not interpolated.
	KindMosaic Kind = iota
	// KindCameraRGB: linear camera RGB, black subtracted, 1 = clipping; no white balance.
	KindCameraRGB
	// KindDisplay: a rendered file (JPEG, TIFF, PNG, HEIC); its pixels are what the
	// camera's unknown response made of the light, decoded through the file's profile.
	KindDisplay
)

// Frame is one decoded camera file, in the sensor's orientation (not turned).
type Frame struct {
	Path string
	Info metadata.Info
	Kind Kind

	Mosaic *Mosaic     // KindMosaic
	RGB    *raster.RGB // KindCameraRGB: linear camera RGB, 1 = clipping
	Coded  *Coded      // KindDisplay

	Camera Camera // colour calibration; zero for KindDisplay
}

// Mosaic is the sensor's active area. Sample (x, y) has the colour
// CFA[y&1][x&1] (0 red, 1 green, 2 blue).
type Mosaic struct {
	W, H  int
	Pix   []uint16 // W*H, row-major
	CFA   [2][2]uint8
	Black [2][2]float32 // black level in counts, by position in the 2 x 2 cell
	// White is the count at which the data really clip, at or below the nominal
	// level. It is found from the frame's own clipped samples, so a frame without any
	// has the nominal level: of a bracket's frames, the lowest holds for all.
	White float32
	// Noise is the DNG NoiseProfile, by colour: variance = S*x + O for x in 0..1
	// between black and white. HasNoise is false when the file has none.
	Noise    [3]struct{ S, O float64 }
	HasNoise bool
}

// Coded is a rendered file's pixels before any linearisation: three planes of
// code values, 0..1 of the full scale of its bit depth.
type Coded struct {
	RGB  *raster.RGB
	Bits int // bits a sample in the file: 8, 10, 12 or 16
	// ToLinear is the transfer function the file's profile declares, code 0..1 to
	// linear 0..1, one a channel (sRGB's when there is no profile).
	ToLinear [3]func(float32) float32
	// ToBT2020 takes linear RGB of the file's profile to linear BT.2020 (D65).
	ToBT2020 colour.Mat3
	// Assumed is true when the file has no profile we can use and counts as sRGB.
	Assumed bool
}

// Camera is a camera's colour calibration by the rules of the DNG specification.
type Camera struct {
	// Matrix1 and Matrix2 take XYZ to camera RGB under the light of CCT1 and CCT2
	// (kelvin). A camera with one matrix has CCT2 = 0.
	Matrix1, Matrix2 colour.Mat3
	CCT1, CCT2       float64
	// Neutral is the camera's as-shot neutral (camera RGB of a white surface,
	// largest channel 1); zero when the file does not say.
	Neutral colour.Vec3
	// Known is false when neither the file nor the library knows this camera's
	// matrix and a generic one stands in.
	Known bool
}
