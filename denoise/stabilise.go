package denoise

import "math"

// stabiliser bends samples so that their noise becomes 1: t = integral of dv/sigma(v),
// for a variance of any shape. Pure shot noise makes it Anscombe's square root, the
// even relative noise of a bracket a logarithm.
//
// Both ways are straight pieces: forth 64 an octave of v + pedestal, found by the bits
// of the float; back evenly spaced in t.
type stabiliser struct {
	pedestal float32 // makes every sample positive
	least    float32 // of v + pedestal
	first    int     // bits of least, shifted
	forth    []piece // t = a + b*(v+pedestal)
	low      float32 // t of the first piece back
	perStep  float32
	back     []piece // v = a + b*t
}

type piece struct{ a, b float32 }

// Pieces an octave, as bits of the mantissa.
const octaveBits = 6

// pedestals is the pedestal in standard deviations of black.
const pedestals = 8

// backPieces is how many pieces there are back; at 0.3 % relative noise and 12 stops a
// piece is then 0.7 wide, and its error below 0.001.
const backPieces = 4096

func newStabiliser(variance func(float32) float32, clip float32) *stabiliser {
	sigma := func(v float64) float64 { return math.Sqrt(float64(variance(float32(v)))) }
	p := pedestals * sigma(0)
	s := &stabiliser{pedestal: float32(p), least: float32(p / 16)}
	s.first = bits(s.least)
	n := bits(8*clip+s.pedestal) - s.first + 1
	s.forth = make([]piece, n)
	u, t := s.edge(0), 0.0
	for i := range s.forth {
		next := s.edge(i + 1)
		h := next - u
		dt := h / 6 * (1/sigma(u-p) + 4/sigma(u+h/2-p) + 1/sigma(next-p)) // Simpson
		b := dt / h
		s.forth[i] = piece{float32(t - b*u), float32(b)}
		u, t = next, t+dt
	}
	s.invert(sigma, t)
	return s
}

func bits(u float32) int { return int(math.Float32bits(u) >> (23 - octaveBits)) }

// edge is where piece i begins.
func (s *stabiliser) edge(i int) float64 {
	return float64(math.Float32frombits(uint32(s.first+i) << (23 - octaveBits)))
}

// invert tables the exact unbiased inverse: the v whose noisy samples have the mean t
// after bending, E f(v + sigma(v) n), and not the v that is bent to t.
func (s *stabiliser) invert(sigma func(float64) float64, top float64) {
	mean := func(v float64) float64 {
		var sum, weight float64
		sd := sigma(v)
		for i := -16; i <= 16; i++ {
			x := float64(i) / 4
			g := math.Exp(-x * x / 2)
			sum += g * float64(s.at(float32(v+sd*x)))
			weight += g
		}
		return sum / weight
	}
	v := s.edge(0) + 4*sigma(0) - float64(s.pedestal)
	t := mean(v)
	s.low = float32(t)
	step := (top - t) / backPieces
	s.perStep = float32(1 / step)
	s.back = make([]piece, backPieces)
	for i := range s.back {
		// t is slightly bent against v: two steps of Newton find the end of the piece.
		want := float64(s.low) + float64(i+1)*step
		next := v + step*sigma(v)
		for range 3 {
			next += (want - mean(next)) * sigma(next)
		}
		b := (next - v) / step
		s.back[i] = piece{float32(v - b*(want-step)), float32(b)}
		v = next
	}
}

// at bends one sample.
func (s *stabiliser) at(v float32) float32 {
	u := v + s.pedestal
	if !(u > s.least) {
		u = s.least
	}
	i := int(math.Float32bits(u)>>(23-octaveBits)) - s.first
	if i >= len(s.forth) {
		i = len(s.forth) - 1
	}
	p := s.forth[i]
	return p.a + p.b*u
}

// from bends one sample back.
func (s *stabiliser) from(t float32) float32 {
	i := int((t - s.low) * s.perStep)
	if i < 0 {
		i = 0
	}
	if i >= len(s.back) {
		i = len(s.back) - 1
	}
	p := s.back[i]
	return p.a + p.b*t
}
