package metadata

import (
	"encoding/binary"
	"math"
)

// Optics is the correction of the lens that the maker of the camera asks for in the
// file, in the terms of the DNG specification (1.3 and later, chapter "Opcode List
// Processing"). The zero value asks for nothing.
//
// Radii count from an optical centre, which is given in 0..1 of the picture as the
// sensor lies (x right, y down), in units of the distance from there to the
// picture's farthest corner.
type Optics struct {
	// Planes is how many of Warp are given: none, 1 for all colours, or 3 for red,
	// green and blue.
	Planes int
	// Warp is kr0 kr1 kr2 kr3 kt0 kt1 of WarpRectilinear: what belongs at radius r of
	// the straight picture is found at r (kr0 + kr1 r^2 + kr2 r^4 + kr3 r^6), moved by
	// the tangential terms.
	Warp         [3][6]float64
	WarpX, WarpY float64
	// Shade is k0 ... k4 of FixVignetteRadial: the gain 1 + k0 r^2 + ... + k4 r^10 at
	// radius r of the picture as taken. HasShade is false when it isn't given.
	Shade          [5]float64
	HasShade       bool
	ShadeX, ShadeY float64
}

// Opcodes of the specification that describe a lens.
const (
	opWarpRectilinear   = 1
	opFixVignetteRadial = 3
)

// The lists of opcodes: for the samples as read, as linearised, and as interpolated.
var tagOpcodes = [3]uint16{51008, 51009, 51022}

// optics reads the lens corrections of a DNG. What isn't plausible counts as absent.
func (t tags) optics() (o Optics) {
	for _, tag := range tagOpcodes {
		if e, ok := t.find(tag); ok {
			o.list(e.Bytes())
		}
	}
	return o
}

// list reads one list: a count, then for each opcode its number, the version and
// flags it needs, its length and its parameters, all of them big-endian.
func (o *Optics) list(b []byte) {
	if len(b) < 4 {
		return
	}
	n := binary.BigEndian.Uint32(b)
	b = b[4:]
	for ; n > 0 && len(b) >= 16; n-- {
		id, size := binary.BigEndian.Uint32(b), binary.BigEndian.Uint32(b[12:])
		b = b[16:]
		if uint64(size) > uint64(len(b)) {
			return
		}
		switch id {
		case opWarpRectilinear:
			o.warp(b[:size])
		case opFixVignetteRadial:
			o.shade(b[:size])
		}
		b = b[size:]
	}
}

func (o *Optics) warp(b []byte) {
	if len(b) < 4 {
		return
	}
	n := int64(binary.BigEndian.Uint32(b))
	if n != 1 && n != 3 {
		return
	}
	v, ok := doubles(b[4:], int(6*n+2))
	if !ok || !centre(v[6*n:]) {
		return
	}
	var warp [3][6]float64
	for i := range int(n) {
		copy(warp[i][:], v[6*i:])
		if !straightens(warp[i]) {
			return
		}
	}
	o.Planes, o.Warp = int(n), warp
	o.WarpX, o.WarpY = v[6*n], v[6*n+1]
}

// straightens reports whether a warp leaves a picture a picture: radii grow with
// radii, none to more than double or less than half, and nothing is far off its ray.
func straightens(w [6]float64) bool {
	last := 0.0
	for i := 1; i <= 32; i++ {
		r := float64(i) / 32
		q := r * r
		at := r * (w[0] + q*(w[1]+q*(w[2]+q*w[3])))
		if !(at > last && at > r/2 && at < 2*r) {
			return false
		}
		last = at
	}
	return math.Abs(w[4]) < 0.05 && math.Abs(w[5]) < 0.05
}

func (o *Optics) shade(b []byte) {
	v, ok := doubles(b, 7)
	if !ok || !centre(v[5:]) {
		return
	}
	for i := range 33 {
		q, gain := float64(i*i)/1024, 1.0
		for k, p := 0, q; k < 5; k, p = k+1, p*q {
			gain += v[k] * p
		}
		if !(gain > 0.1 && gain < 64) {
			return
		}
	}
	copy(o.Shade[:], v)
	o.HasShade = true
	o.ShadeX, o.ShadeY = v[5], v[6]
}

// centre reports whether a centre lies in the picture.
func centre(v []float64) bool { return v[0] >= 0 && v[0] <= 1 && v[1] >= 0 && v[1] <= 1 }

// doubles reads n numbers; false when there are not exactly so many or one is none.
func doubles(b []byte, n int) ([]float64, bool) {
	if len(b) != 8*n {
		return nil, false
	}
	v := make([]float64, n)
	for i := range v {
		v[i] = math.Float64frombits(binary.BigEndian.Uint64(b[8*i:]))
		if math.IsNaN(v[i]) || math.IsInf(v[i], 0) {
			return nil, false
		}
	}
	return v, true
}
