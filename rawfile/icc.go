package rawfile

import (
	"encoding/binary"
	"errors"
	"math"

	"mullion/colour"
)

// profile is a matrix profile: a curve for each channel, then a matrix to the
// connection space (ICC.1:2022, 8.3.3 and F.3).
type profile struct {
	curve  [3]curve
	matrix colour.Mat3 // linear RGB to XYZ under D50
}

var (
	errNoProfile   = errors.New("no ICC profile")
	errOtherScheme = errors.New("not a matrix profile")
)

// parseProfile reads a matrix profile. Profiles of another scheme (tables, grey,
// inks) give errOtherScheme, broken ones errNoProfile.
func parseProfile(b []byte) (*profile, error) {
	if len(b) < 132 || string(b[36:40]) != "acsp" {
		return nil, errNoProfile
	}
	if string(b[16:20]) != "RGB " || string(b[20:24]) != "XYZ " {
		return nil, errOtherScheme
	}
	p := &profile{}
	for i, name := range []string{"r", "g", "b"} {
		col, err := parseXYZ(iccTag(b, name+"XYZ"))
		if err != nil {
			return nil, err
		}
		for k := range 3 {
			p.matrix[k][i] = col[k]
		}
		if p.curve[i], err = parseCurve(iccTag(b, name+"TRC")); err != nil {
			return nil, err
		}
	}
	if !usable(p.matrix) {
		return nil, errNoProfile
	}
	return p, nil
}

// iccTag returns the data of a tag, nil without it.
func iccTag(b []byte, sig string) []byte {
	n := int(binary.BigEndian.Uint32(b[128:]))
	for i := range min(n, 100) {
		at := 132 + 12*i
		if at+12 > len(b) {
			return nil
		}
		if string(b[at:at+4]) != sig {
			continue
		}
		off, size := int64(binary.BigEndian.Uint32(b[at+4:])), int64(binary.BigEndian.Uint32(b[at+8:]))
		if off+size > int64(len(b)) {
			return nil
		}
		return b[off : off+size]
	}
	return nil
}

func fixed(b []byte) float64 { return float64(int32(binary.BigEndian.Uint32(b))) / 65536 }

func parseXYZ(b []byte) (colour.Vec3, error) {
	if b == nil {
		return colour.Vec3{}, errOtherScheme
	}
	if len(b) < 20 || string(b[:4]) != "XYZ " {
		return colour.Vec3{}, errNoProfile
	}
	return colour.Vec3{fixed(b[8:]), fixed(b[12:]), fixed(b[16:])}, nil
}

// curve takes a code value 0..1 to linear 0..1.
type curve func(float64) float64

func parseCurve(b []byte) (curve, error) {
	if b == nil {
		return nil, errOtherScheme
	}
	if len(b) < 12 {
		return nil, errNoProfile
	}
	switch string(b[:4]) {
	case "curv":
		return parseTable(b)
	case "para":
		return parseParametric(b)
	}
	return nil, errNoProfile
}

// parseTable reads curveType: nothing, a gamma, or samples (10.6).
func parseTable(b []byte) (curve, error) {
	n := int64(binary.BigEndian.Uint32(b[8:]))
	if n > 65536 || int64(len(b)) < 12+2*n {
		return nil, errNoProfile
	}
	switch n {
	case 0:
		return func(x float64) float64 { return x }, nil
	case 1:
		if len(b) < 14 {
			return nil, errNoProfile
		}
		g := float64(binary.BigEndian.Uint16(b[12:])) / 256
		if g < 0.1 || g > 10 {
			return nil, errNoProfile
		}
		return func(x float64) float64 { return math.Pow(x, g) }, nil
	}
	t := make([]float64, n)
	for i := range t {
		t[i] = float64(binary.BigEndian.Uint16(b[12+2*i:])) / 65535
	}
	return func(x float64) float64 {
		p := x * float64(n-1)
		i := min(int(p), int(n)-2)
		return t[i] + (t[i+1]-t[i])*(p-float64(i))
	}, nil
}

// parseParametric reads parametricCurveType, functions 0 to 4 (10.18, table 68).
func parseParametric(b []byte) (curve, error) {
	kind := int(binary.BigEndian.Uint16(b[8:]))
	need := []int{1, 3, 4, 5, 7}
	if kind >= len(need) || len(b) < 12+4*need[kind] {
		return nil, errNoProfile
	}
	var v [7]float64 // g a b c d e f
	for i := range need[kind] {
		v[i] = fixed(b[12+4*i:])
	}
	g, a, bb, c, d, e, f := v[0], v[1], v[2], v[3], v[4], v[5], v[6]
	if g <= 0 || g > 20 {
		return nil, errNoProfile
	}
	power := func(x float64) float64 { return math.Pow(max(a*x+bb, 0), g) }
	switch kind {
	case 0:
		return func(x float64) float64 { return math.Pow(x, g) }, nil
	case 1, 2: // c is the offset; the power starts at -b/a
		if a == 0 {
			return nil, errNoProfile
		}
		return func(x float64) float64 {
			if x >= -bb/a {
				return power(x) + c
			}
			return c
		}, nil
	case 3: // no offsets
		e, f = 0, 0
	}
	return func(x float64) float64 {
		if x >= d {
			return power(x) + e
		}
		return c*x + f
	}, nil
}
