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
	// Kind says how Warp is to be read: as above, or as one of the others, whose
	// coefficients are in Long.
	Kind WarpKind
	// Long are the coefficients of WarpFisheye, kr0 ... kr3, or of WarpRectilinear2,
	// kr0 ... kr14 of the powers 0 to 14, by colour; the latter's tangential terms are in
	// Warp. Between holds the radii outside of which WarpRectilinear2 goes on as at them.
	Long    [3][15]float64
	Between [2]float64
	// Shade is k0 ... k4 of FixVignetteRadial: the gain 1 + k0 r^2 + ... + k4 r^10 at
	// radius r of the picture as taken. HasShade is false when it isn't given.
	Shade          [5]float64
	HasShade       bool
	ShadeX, ShadeY float64
	// Gains are the gain maps, nil when there are none.
	Gains *Gains `json:",omitempty"`
}

// WarpKind is the opcode a warp was given by.
type WarpKind uint8

// The warps of the specification.
const (
	WarpRectilinear  WarpKind = iota // 1.3
	WarpFisheye                      // 1.3: r becomes kr0 t + kr1 t^3 + kr2 t^5 + kr3 t^7, with t = arctan r
	WarpRectilinear2                 // 1.6: r becomes r times the polynomial of Long
	WarpReciprocal                   // 1.6: r becomes r over the polynomial of Long
)

// At returns where what belongs at radius r of the straight picture is found, without the
// tangential terms.
func (o Optics) At(plane int, r float64) float64 {
	k := o.Long[plane]
	switch o.Kind {
	case WarpFisheye:
		t := math.Atan(r)
		q := t * t
		return t * (k[0] + q*(k[1]+q*(k[2]+q*k[3])))
	case WarpRectilinear2, WarpReciprocal:
		at, v := min(max(r, o.Between[0]), o.Between[1]), 0.0
		for i := len(k) - 1; i >= 0; i-- {
			v = v*at + k[i]
		}
		if o.Kind == WarpReciprocal {
			v = 1 / v
		}
		return r * v
	}
	w, q := o.Warp[plane], r*r
	return r * (w[0] + q*(w[1]+q*(w[2]+q*w[3])))
}

// Opcodes of the specification that describe a lens.
const (
	opWarpRectilinear   = 1
	opWarpFisheye       = 2
	opFixVignetteRadial = 3
	opGainMap           = 9
	opWarpRectilinear2  = 14
)

// The lists of opcodes: for the samples as read, as linearised, and as interpolated.
var tagOpcodes = [3]uint16{51008, 51009, 51022}

// optics reads the lens corrections of a DNG. What isn't plausible counts as absent.
func (t tags) optics() (o Optics) {
	for i, tag := range tagOpcodes {
		if e, ok := t.find(tag); ok {
			o.list(e.Bytes(), i == len(tagOpcodes)-1)
		}
	}
	return o
}

// list reads one list: a count, then for each opcode its number, the version and
// flags it needs, its length and its parameters, all of them big-endian. colours is true
// for the list whose planes are colours and not the samples of a mosaic.
func (o *Optics) list(b []byte, colours bool) {
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
		case opWarpFisheye:
			o.fisheye(b[:size])
		case opWarpRectilinear2:
			o.warp2(b[:size])
		case opFixVignetteRadial:
			o.shade(b[:size])
		case opGainMap:
			o.gain(b[:size], colours)
		}
		b = b[size:]
	}
}

// planes reads how many colours a warp is given for, 1 or 3, and the numbers after it:
// each for a colour and then two of the centre. It is 0 when they make no sense.
func planes(b []byte, each, after int) (n int, v []float64) {
	if len(b) < 4 {
		return 0, nil
	}
	n = int(binary.BigEndian.Uint32(b))
	if n != 1 && n != 3 || len(b) < 4+after {
		return 0, nil
	}
	v, ok := doubles(b[4:len(b)-after], each*n+2)
	if !ok || !centre(v[each*n:]) {
		return 0, nil
	}
	return n, v
}

func (o *Optics) warp(b []byte) {
	n, v := planes(b, 6, 0)
	w := Optics{Planes: n}
	for i := range n {
		copy(w.Warp[i][:], v[6*i:])
	}
	o.take(w, v)
}

func (o *Optics) fisheye(b []byte) {
	n, v := planes(b, 4, 0)
	w := Optics{Planes: n, Kind: WarpFisheye}
	for i := range n {
		copy(w.Long[i][:4], v[4*i:])
	}
	o.take(w, v)
}

// warp2 reads WarpRectilinear2: by colour 15 radial and 2 tangential coefficients and the
// two radii, then the centre, then whether the polynomial is a divisor. (The layout is
// from memory of version 1.6 of the specification.)
func (o *Optics) warp2(b []byte) {
	n, v := planes(b, 19, 4)
	w := Optics{Planes: n, Kind: WarpRectilinear2}
	for i := range n {
		k := v[19*i:]
		copy(w.Long[i][:], k[:15])
		copy(w.Warp[i][4:], k[15:17])
		if i == 0 {
			w.Between = [2]float64{k[17], k[18]}
		}
	}
	if n > 0 && binary.BigEndian.Uint32(b[len(b)-4:]) != 0 {
		w.Kind = WarpReciprocal
	}
	if n > 0 && !(w.Between[0] >= 0 && w.Between[1] > w.Between[0]) {
		return
	}
	o.take(w, v)
}

// take puts the warp of w, whose centre are the last two numbers of v, in the place of
// another, if it makes sense.
func (o *Optics) take(w Optics, v []float64) {
	if w.Planes == 0 {
		return
	}
	for i := range w.Planes {
		if !w.straightens(i) {
			return
		}
	}
	o.Planes, o.Kind, o.Warp, o.Long, o.Between = w.Planes, w.Kind, w.Warp, w.Long, w.Between
	o.WarpX, o.WarpY = v[len(v)-2], v[len(v)-1]
}

// straightens reports whether a warp leaves a picture a picture: radii grow with
// radii, none to more than double or less than half (a third for a fisheye, which reaches
// farther), and nothing is far off its ray.
func (o Optics) straightens(plane int) bool {
	least := 0.5
	if o.Kind == WarpFisheye {
		least = 0.33
	}
	last := 0.0
	for i := 1; i <= 32; i++ {
		r := float64(i) / 32
		at := o.At(plane, r)
		if !(at > last && at > least*r && at < 2*r) {
			return false
		}
		last = at
	}
	w := o.Warp[plane]
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
