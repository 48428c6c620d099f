// Package response recovers what a camera did to the light before it wrote a
// rendered file: the curve from exposure to code.
//
// A bracket shows every place of the scene at several exposures, so the codes of a
// place, together with the known steps between the frames, trace the curve (Debevec
// & Malik, "Recovering high dynamic range radiance maps from photographs", SIGGRAPH
// 1997). Here the unknown is how the curve deviates from one that is assumed
// beforehand (sRGB, as the file's profile declares): where the bracket says
// little, the assumption stands. The light of every place is eliminated first, so
// thousands of places cost no more than 256 unknowns.
//
// Steps and curve can't both be unknown: raising one to a power and scaling the
// other explains the same codes (Grossberg & Nayar, PAMI 25, 2003). Without
// exposure data use the declared curve and solve the steps.
package response

import (
	"errors"
	"math"
)

// Curve is the natural logarithm of the exposure of every 8-bit code; rising, and
// 0 at code 255, so that exp of it is linear light with 1 at full scale.
type Curve [256]float64

// Linear returns the exposure of a code relative to that of code 255.
func (c *Curve) Linear(code uint8) float64 { return math.Exp(c[code]) }

// Place is one point of the scene: its code in every frame.
type Place []uint8

// ErrTooLittle is returned when the places don't trace a curve: one frame, no step
// between frames, or hardly any place exposed well in two of them.
var ErrTooLittle = errors.New("the bracket shows too little to recover the camera's response")

// SRGB is the inverse of the transfer function of IEC 61966-2-1, the curve assumed
// when nothing better is known. Code 0 counts as a quarter of code 1.
func SRGB() *Curve {
	var c Curve
	for i := range c {
		v := float64(i) / 255
		if i == 0 {
			v = 0.25 / 255
		}
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		c[i] = math.Log(v)
	}
	return &c
}

// Options steer a recovery; the zero value is right for camera files.
type Options struct {
	// Smooth is the price of bending away from the assumed curve (lambda of the
	// paper), relative to the weight of the data; 0 means 0.3.
	Smooth float64
	// Hold is the price of leaving the assumed curve at all; 0 means 1e-3.
	Hold float64
}

// Recover returns the response that explains the codes of the places in frames of
// the given exposures (EV, any origin). All places have one code a frame. Places
// that don't follow the others (something moved) lose their say.
func Recover(places []Place, ev []float64, assumed *Curve, opt Options) (*Curve, error) {
	if opt.Smooth == 0 {
		opt.Smooth = 0.3
	}
	if opt.Hold == 0 {
		opt.Hold = 1e-3
	}
	if err := enough(places, ev); err != nil {
		return nil, err
	}
	say := make([]float64, len(places))
	for i := range say {
		say[i] = 1
	}
	var dev [256]float64
	for range 4 {
		s := newSystem()
		for i, p := range places {
			s.addPlace(p, ev, assumed, say[i])
		}
		s.regularise(opt)
		if !s.solve(&dev) {
			return nil, ErrTooLittle
		}
		doubt(places, ev, assumed, &dev, say)
	}
	c := *assumed
	for i := range c {
		c[i] += dev[i]
	}
	rising(&c)
	top := c[255]
	for i := range c {
		c[i] -= top
	}
	return &c, nil
}

func enough(places []Place, ev []float64) error {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, e := range ev {
		lo, hi = min(lo, e), max(hi, e)
	}
	if !(hi-lo > 0.25) {
		return ErrTooLittle
	}
	var n int
	for _, p := range places {
		var good int
		for _, z := range p {
			if weight(z) > 0.1 {
				good++
			}
		}
		if good >= 2 {
			n++
		}
	}
	if n < 100 {
		return ErrTooLittle
	}
	return nil
}

// weight is the trust in a code: the hat of the paper, closed before the ends,
// where cameras clip and crush.
func weight(z uint8) float64 {
	v := float64(z)
	return max(0, min(v-4, 250-v)) / 123
}

// doubt lowers the say of places whose codes disagree with the curve.
func doubt(places []Place, ev []float64, g0 *Curve, dev *[256]float64, say []float64) {
	for i, p := range places {
		var sw, se, see float64
		for j, z := range p {
			w := weight(z)
			e := g0[z] + dev[z] - ev[j]*math.Ln2
			sw, se, see = sw+w, se+w*e, see+w*e*e
		}
		if sw == 0 {
			continue
		}
		variance := max(0, see/sw-(se/sw)*(se/sw))
		q := 1 + variance/(0.1*0.1)
		say[i] = 1 / (q * q)
	}
}

// rising makes a curve monotone by pooling adjacent violators (Ayer et al. 1955),
// weighed by the trust in the codes, then gives every code a small step.
func rising(c *Curve) {
	type block struct {
		sum, w float64
		n      int
	}
	var st []block
	for i, v := range c {
		w := weight(uint8(i)) + 0.01
		st = append(st, block{v * w, w, 1})
		for len(st) > 1 && st[len(st)-2].sum/st[len(st)-2].w >= st[len(st)-1].sum/st[len(st)-1].w {
			a, b := st[len(st)-2], st[len(st)-1]
			st = append(st[:len(st)-2], block{a.sum + b.sum, a.w + b.w, a.n + b.n})
		}
	}
	i := 0
	for _, b := range st {
		for k := range b.n {
			c[i] = b.sum/b.w + 1e-4*(float64(k)-float64(b.n-1)/2)
			if i > 0 {
				c[i] = max(c[i], c[i-1]+1e-5)
			}
			i++
		}
	}
}
