package rawfile

import (
	"mullion/colour"
	"mullion/metadata/ifd"
)

// Tags of the DNG specification 1.6.
const (
	tagDNGVersion     = 50706
	tagCFAPlaneColour = 50710
	tagColourMatrix1  = 50721
	tagColourMatrix2  = 50722
	tagCalibration1   = 50723
	tagCalibration2   = 50724
	tagAnalogBalance  = 50727
	tagIlluminant1    = 50778
	tagIlluminant2    = 50779
	tagActiveArea     = 50829
	tagNoiseProfile   = 51041
)

// dngTags are a DNG's directories. LibRaw's reading of some of these tags depends
// on its version, and NoiseProfile it does not pass on at all, so they are read
// here.
type dngTags []ifd.Dir

// newDNGTags returns nil for what is no DNG.
func newDNGTags(dirs []ifd.Dir) dngTags {
	if len(dirs) > 0 {
		if _, ok := dirs[0].Find(tagDNGVersion); ok {
			return dirs
		}
	}
	return nil
}

// floats returns the first n or more values of a tag, nil without them.
func (d dngTags) floats(tag uint16, n int) []float64 {
	for i := range d {
		if e, ok := d[i].Find(tag); ok {
			if v := e.Floats(); len(v) >= n {
				return v
			}
		}
	}
	return nil
}

func (d dngTags) matrix(tag uint16) (colour.Mat3, bool) {
	v := d.floats(tag, 9)
	if len(v) != 9 { // a sensor of other than three colours
		return colour.Identity, false
	}
	m := colour.Mat3{{v[0], v[1], v[2]}, {v[3], v[4], v[5]}, {v[6], v[7], v[8]}}
	_, ok := m.Inverse()
	return m, ok
}

// colours returns the calibrations with analog balance and camera calibration
// folded in: XYZ to camera = AB x CC x CM (DNG specification, "Mapping Camera Color
// Space to CIE XYZ Space").
func (d dngTags) colours() (out []dngColour) {
	analog := colour.Identity
	if v := d.floats(tagAnalogBalance, 3); len(v) == 3 && positive(colour.Vec3(v)) {
		analog = colour.Diag(colour.Vec3(v))
	}
	for _, t := range [][3]uint16{
		{tagColourMatrix1, tagCalibration1, tagIlluminant1},
		{tagColourMatrix2, tagCalibration2, tagIlluminant2},
	} {
		cm, ok := d.matrix(t[0])
		if !ok {
			continue
		}
		c := dngColour{matrix: analog.Mul(cm)}
		if cc, ok := d.matrix(t[1]); ok {
			c.matrix = analog.Mul(cc).Mul(cm)
		}
		if v := d.floats(t[2], 1); v != nil {
			c.kelvin = illuminantKelvin(int(v[0]))
		}
		out = append(out, c)
	}
	return out
}

// noise reads NoiseProfile: variance = S*x + O for x in 0..1 between black and
// white, one pair for all colours or one a colour in the order of CFAPlaneColor.
func (d dngTags) noise() (out [3]struct{ S, O float64 }, ok bool) {
	planes := d.floats(tagCFAPlaneColour, 3)
	if len(planes) != 3 {
		planes = []float64{0, 1, 2}
	}
	v := d.floats(tagNoiseProfile, 2)
	if len(v) != 2 && len(v) != 6 {
		return out, false
	}
	for i, plane := range planes {
		s, o, c := v[i*2%len(v)], v[i*2%len(v)+1], int(plane)
		if !(s > 0 && s < 1 && o >= 0 && o < 1) || c < 0 || c > 2 {
			return out, false
		}
		out[c].S, out[c].O = s, o
	}
	return out, out[0].S > 0 && out[1].S > 0 && out[2].S > 0
}

// oddCorner tells how far LibRaw moves the active area's corner to make it even: 0
// or 1 photosites each way. It moves the colour pattern too, but not the pattern of
// black levels.
func (d dngTags) oddCorner() (dy, dx int) {
	for i := range d {
		if e, ok := d[i].Find(tagActiveArea); ok && e.Len() == 4 {
			top, _ := e.Uint(0)
			left, _ := e.Uint(1)
			return int(top & 1), int(left & 1)
		}
	}
	return 0, 0
}
