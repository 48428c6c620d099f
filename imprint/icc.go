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

var srgbProfile = sync.OnceValue(buildSRGB)

// d50 is the profile connection space's white as ICC.1 writes it.
var d50 = colour.Vec3{0.9642, 1, 0.8249}

// curvePoints makes every 8-bit code fall on a point of the curve: 4 * 255 + 1.
const curvePoints = 1021

func buildSRGB() []byte {
	m, adapt := srgbToPCS()
	curve := curveTag()
	type tag struct {
		name string
		data []byte
	}
	tags := []tag{
		{"desc", descTag("sRGB IEC61966-2-1")},
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

// srgbToPCS returns the map from linear sRGB to XYZ under D50, and the Bradford
// adaptation from D65 that is part of it.
func srgbToPCS() (m, adapt colour.Mat3) {
	xyz := func(x, y float64) colour.Vec3 { return colour.Vec3{x / y, 1, (1 - x - y) / y} }
	r, g, b := xyz(0.64, 0.33), xyz(0.30, 0.60), xyz(0.15, 0.06)
	white := xyz(0.3127, 0.3290)
	p := colour.Mat3{{r[0], g[0], b[0]}, {r[1], g[1], b[1]}, {r[2], g[2], b[2]}}
	inv, _ := p.Inverse() // three different primaries: never singular
	toXYZ := p.Mul(colour.Diag(inv.Apply(white)))

	bradford := colour.Mat3{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}
	back, _ := bradford.Inverse()
	from, to := bradford.Apply(white), bradford.Apply(d50)
	adapt = back.Mul(colour.Diag(colour.Vec3{to[0] / from[0], to[1] / from[1], to[2] / from[2]})).Mul(bradford)
	return adapt.Mul(toXYZ), adapt
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

func textTag(s string) []byte { return append([]byte("text\x00\x00\x00\x00"+s), 0) }

// descTag is a textDescriptionType: the ASCII name, an empty Unicode one, and
// the 67 bytes of an empty script code one.
func descTag(s string) []byte {
	b := binary.BigEndian.AppendUint32([]byte("desc\x00\x00\x00\x00"), uint32(len(s)+1))
	b = append(append(b, s...), 0)
	return append(b, make([]byte, 4+4+2+1+67)...)
}
