package imprint

import (
	"encoding/binary"
	"math"
	"sync"

	"mullion/colour"
)

// SRGB returns an ICC profile of the sRGB colour space, built from the numbers
// of IEC 61966-2-1: primaries of ITU-R BT.709, white D65, and its transfer
// function. It follows ICC.1:2001-04 (version 2), which every reader knows, and
// measures 2.5 kB. The caller must not change the bytes.
func SRGB() []byte { return srgbProfile() }

// LinearBT2020 returns an ICC profile of linear light with the primaries of ITU-R
// BT.2020 and white D65, for radiance in float files. The caller must not change
// the bytes.
func LinearBT2020() []byte { return bt2020Profile() }

var (
	srgbProfile = sync.OnceValue(func() []byte {
		return build("sRGB IEC61966-2-1", colour.RGBToXYZ(colour.XY{X: 0.64, Y: 0.33}, colour.XY{X: 0.30, Y: 0.60}, colour.XY{X: 0.15, Y: 0.06}, d65), curveTag())
	})
	bt2020Profile = sync.OnceValue(func() []byte {
		return build("Linear BT.2020", colour.RGBToXYZ(colour.XY{X: 0.708, Y: 0.292}, colour.XY{X: 0.170, Y: 0.797}, colour.XY{X: 0.131, Y: 0.046}, d65), straightTag())
	})
)

var d65 = colour.XY{X: 0.3127, Y: 0.3290}

// d50 is the profile connection space's white as ICC.1 writes it.
var d50 = colour.Vec3{0.9642, 1, 0.8249}

// curvePoints makes every 8-bit code fall on a point of the curve: 4 * 255 + 1.
const curvePoints = 1021

// build returns a display profile with one curve for its three channels. toXYZ takes
// linear RGB to XYZ under D65; it is adapted to D50 by Bradford, as ICC.1 asks.
func build(name string, toXYZ colour.Mat3, curve []byte) []byte {
	adapt := colour.Adapt(colour.Bradford, d65.XYZ(), d50)
	m := adapt.Mul(toXYZ)
	type tag struct {
		name string
		data []byte
	}
	tags := []tag{
		{"desc", descTag(name)},
		{"cprt", textTag("No rights reserved.")},
		{"wtpt", xyzTag(d50)},
		{"chad", matrixTag(adapt)},
		{"rXYZ", xyzTag(colour.Vec3{m[0][0], m[1][0], m[2][0]})},
		{"gXYZ", xyzTag(colour.Vec3{m[0][1], m[1][1], m[2][1]})},
		{"bXYZ", xyzTag(colour.Vec3{m[0][2], m[1][2], m[2][2]})},
		{"rTRC", curve}, {"gTRC", curve}, {"bTRC", curve},
	}
	be := binary.BigEndian
	head := make([]byte, 128)
	be.PutUint32(head[8:], 0x02400000) // version 2.4
	copy(head[12:], "mntrRGB XYZ ")
	for i, v := range []uint16{2026, 1, 1, 0, 0, 0} { // date of this profile, fixed
		be.PutUint16(head[24+2*i:], v)
	}
	copy(head[36:], "acsp")
	for i, v := range d50 {
		be.PutUint32(head[68+4*i:], fixed(v))
	}
	table := be.AppendUint32(nil, uint32(len(tags)))
	var data []byte
	base := 128 + 4 + 12*len(tags)
	at := 0
	for i, t := range tags {
		if i == 0 || &t.data[0] != &tags[i-1].data[0] { // the three curves are one
			at = base + len(data)
			data = append(data, t.data...)
			for len(data)%4 != 0 {
				data = append(data, 0)
			}
		}
		table = append(table, t.name...)
		table = be.AppendUint32(table, uint32(at))
		table = be.AppendUint32(table, uint32(len(t.data)))
	}
	out := append(append(head, table...), data...)
	be.PutUint32(out, uint32(len(out)))
	return out
}

func fixed(v float64) uint32 { return uint32(int32(math.Round(v * 65536))) }

func xyzTag(v colour.Vec3) []byte {
	b := []byte("XYZ \x00\x00\x00\x00")
	for _, x := range v {
		b = binary.BigEndian.AppendUint32(b, fixed(x))
	}
	return b
}

func matrixTag(m colour.Mat3) []byte {
	b := []byte("sf32\x00\x00\x00\x00")
	for _, row := range m {
		for _, x := range row {
			b = binary.BigEndian.AppendUint32(b, fixed(x))
		}
	}
	return b
}

func curveTag() []byte {
	b := []byte("curv\x00\x00\x00\x00")
	b = binary.BigEndian.AppendUint32(b, curvePoints)
	for i := range curvePoints {
		v := float64(i) / (curvePoints - 1)
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		b = binary.BigEndian.AppendUint16(b, uint16(math.Round(v*65535)))
	}
	return b
}

// straightTag is the curve without entries, which ICC.1 reads as linear.
func straightTag() []byte { return append([]byte("curv"), make([]byte, 8)...) }

func textTag(s string) []byte { return append([]byte("text\x00\x00\x00\x00"+s), 0) }

// descTag is a textDescriptionType: the ASCII name, an empty Unicode one, and
// the 67 bytes of an empty script code one.
func descTag(s string) []byte {
	b := binary.BigEndian.AppendUint32([]byte("desc\x00\x00\x00\x00"), uint32(len(s)+1))
	b = append(append(b, s...), 0)
	return append(b, make([]byte, 4+4+2+1+67)...)
}
