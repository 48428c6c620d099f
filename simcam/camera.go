// Package simcam is a simulated camera: it turns the radiance of a scene into
// the files a camera would have written, with every figure known.
//
// A merged picture can only be called right against a truth, and no photograph
// comes with one. So the demo and the tests photograph a rendered house with a
// camera whose lens, sensor and noise are written down here:
//
//	scene     linear BT.2020 radiance with a D65 white, 1.0 = 100 cd/m2
//	exposure  a D65 neutral of luminance L saturates its green photosite when
//	          L t S / (120 N^2) = 1, the saturation-based speed of ISO 12232
//	          with the usual lens constant q = 0.65 (78/0.65 = 120)
//	colour    camera RGB = Matrix x XYZ, scaled so that green is 1 for D65 white
//	lens      a Gaussian point spread, vignetting 1 - a r^2 - b r^4
//	sensor    full well, shot noise (Poisson), read noise before and after the
//	          amplifier, row noise, photosites of slightly unequal response,
//	          dark current, an RGGB mosaic, black level, rounding, clipping
//	shutter   true times are 2^(k/3) s, the mark is the engraved, rounded value
//
// The noise model is the common one of the EMVA 1288 standard: the variance in
// electrons is the signal plus a constant, which is what the NoiseProfile tag
// of the DNG specification says in normalised units.
//
// The way of a frame is [Camera.Project] (lens and colour, once a composition),
// [Camera.Expose] (one exposure of it) and [Raw.WriteDNG] or [Raw.WriteJPEG].
// [Camera.Bracket] does it for a view, [Camera.Shoot] for a whole card. The same
// seed gives the same bytes on any number of cores.
package simcam

import (
	"math"

	"mullion/colour"
)

// Camera is a camera body with its lens.
type Camera struct {
	Make, Model, Serial, Software string
	Lens                          string
	LensRange                     [4]float64 // shortest and longest focal length in mm, and the f-number at each

	Matrix colour.Mat3 // XYZ relative to D65 to camera RGB, as in the ColorMatrix1 tag

	Black, White      int     // black level and clipping level, counts
	FullWell          float64 // electrons at saturation at ISO 100
	ReadPre, ReadPost float64 // read noise before the amplifier, and after it at ISO 100, electrons
	RowNoise          float64 // one value a row, electrons
	PRNU              float64 // standard deviation of the photosites' response, relative
	Dark              float64 // electrons a second

	PSF      float64    // standard deviation of the point spread, pixels
	Vignette [2]float64 // a, b of 1 - a r^2 - b r^4, r = distance from the centre over the half diagonal

	// OpcodeList3 is written into DNG files as it stands: the maker's corrections of the
	// lens, in the words of the DNG specification. Nil writes none.
	OpcodeList3 []byte

	Pulse Pulse   // lamps on the mains; zero for steady light
	Dust  []Speck // on the sensor's glass
}

// LF1 returns an invented camera of 14 bits with a lens whose distortion and
// vignetting no profile knows.
func LF1() *Camera {
	return &Camera{
		Make: "Larkfield", Model: "LF-1", Serial: "0041877", Software: "LF-1 1.02",
		Lens: "LF 14-24mm f/4", LensRange: [4]float64{14, 24, 4, 4},
		Matrix: colour.Mat3{{.7234, -.2103, -.0681}, {-.4472, 1.2347, .2356}, {-.0713, .1648, .5921}},
		Black:  512, White: 16383,
		FullWell: 60000, ReadPre: 1.6, ReadPost: 3.4, RowNoise: 0.12, PRNU: 0.003, Dark: 0.03,
		PSF: 0.55, Vignette: [2]float64{.30, .10},
	}
}

// Neutral returns the camera RGB, green 1, of a white surface that sends out the
// given linear BT.2020 colour. It is the AsShotNeutral of a perfect white
// balance for that light.
func (c *Camera) Neutral(white colour.Vec3) colour.Vec3 {
	n := c.Matrix.Mul(xyzFromBT2020).Apply(white)
	return colour.Vec3{n[0] / n[1], 1, n[2] / n[1]}
}

// fromBT2020 takes linear BT.2020 to camera RGB, in which a D65 white has the
// green 1.
func (c *Camera) fromBT2020() colour.Mat3 {
	m := c.Matrix.Mul(xyzFromBT2020)
	g := m.Apply(colour.Vec3{1, 1, 1})[1]
	return colour.Diag(colour.Vec3{1 / g, 1 / g, 1 / g}).Mul(m)
}

// Gain returns the fraction of saturation that a camera RGB of 1 (green of a D65
// white of 100 cd/m2) reaches: 100 t S / (120 N^2).
func Gain(seconds, iso, fnumber float64) float64 {
	return 100 * seconds * iso / (120 * fnumber * fnumber)
}

// Saturation returns the electrons at the clipping level.
func (c *Camera) Saturation(iso float64) float64 { return c.FullWell * 100 / iso }

// ReadNoise returns the standard deviation of the read noise in electrons.
func (c *Camera) ReadNoise(iso float64) float64 {
	return math.Hypot(c.ReadPre, c.ReadPost*100/iso)
}

// NoiseProfile returns S and O of the DNG NoiseProfile tag: the variance of a
// sample x in 0..1 between black and white is S x + O. The rounding to counts is
// in it (1/12 count^2), the small row and response noises are not.
func (c *Camera) NoiseProfile(iso float64) (s, o float64) {
	sat := c.Saturation(iso)
	rd, step := c.ReadNoise(iso)/sat, 1/float64(c.White-c.Black)
	return 1 / sat, rd*rd + step*step/12
}
