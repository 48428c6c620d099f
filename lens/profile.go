// Package lens describes what a lens does to a picture besides projecting it:
// distortion (straight lines bend), lateral colour (red and blue are slightly
// larger or smaller than green) and vignetting (corners are darker).
//
// A [Profile] holds all three as polynomials in the distance from the optical
// axis, measured in half-diagonals of the picture: 0 in the middle, 1 in the
// corners. So one profile serves every size of the same picture, and a portrait
// like a landscape. The common lens models are all such polynomials; the
// constructors say how.
//
// Profiles come from the lensfun database ([Find]), from coefficients
// ([Brown]), or are estimated elsewhere from lines that ought to be straight.
// A nil *Profile is a perfect lens.
package lens

import "math"

// Radial is the ratio r'/r as a polynomial: c[0] + c[1] r + c[2] r^2 + ...
type Radial [15]float64

// Unity is the ratio 1 everywhere.
var Unity = Radial{1}

// At returns the ratio at radius r.
func (c Radial) At(r float64) float64 {
	v, i := 0.0, len(c)-1
	for i > 6 && c[i] == 0 { // most lenses are described by fewer terms
		i--
	}
	for ; i >= 0; i-- {
		v = v*r + c[i]
	}
	return v
}

// slope is d(r At(r))/dr.
func (c Radial) slope(r float64) float64 {
	v := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		v = v*r + float64(i+1)*c[i]
	}
	return v
}

// in changes the unit of r: the result takes radii of which one unit is n of c's.
func (c Radial) in(n float64) Radial {
	f := 1.0
	for i := range c {
		c[i] *= f
		f *= n
	}
	return c
}

// Lift is a gain as a polynomial in even powers of the radius: c[0] + c[1] r^2 +
// c[2] r^4 + ...
type Lift [6]float64

// At returns the gain at radius r.
func (c Lift) At(r float64) float64 {
	q, v := r*r, c[5]
	for i := 4; i >= 0; i-- {
		v = v*q + c[i]
	}
	return v
}

// Profile is the behaviour of one lens at one setting. Radii are in
// half-diagonals of the picture.
type Profile struct {
	Name   string // the lens
	Origin string // where the figures come from, for people to read

	// Distortion takes the radius an ideal lens would give to the radius this one
	// gives.
	Distortion Radial
	// Red and Blue take the radius of green light to that of red and blue.
	Red, Blue Radial
	// Falloff is the illumination relative to the middle.
	Falloff Radial
	// Lift is a gain to apply besides; its zero value is none.
	Lift Lift
	// Tangential is how a decentred lens moves places sideways; see [Profile.Shift].
	Tangential [2]float64
	// CentreX and CentreY are the optical axis relative to the picture's middle,
	// right and down as the sensor lies (landscape, before any turning).
	CentreX, CentreY float64
}

// New returns a profile that changes nothing, to be filled in.
func New(name, origin string) *Profile {
	return &Profile{Name: name, Origin: origin, Distortion: Unity, Red: Unity, Blue: Unity, Falloff: Unity}
}

// With returns p, which may be nil, with the distortion of d.
func (p *Profile) With(d *Profile) *Profile {
	if p == nil {
		return d
	}
	both := *p
	both.Distortion = d.Distortion
	both.Origin += ", distortion " + d.Origin
	return &both
}

// Distort returns the radius at which the lens draws what an ideal lens would
// draw at radius r. Beyond the radius where the polynomial turns back, which no
// real picture reaches, it goes on straight.
func (p *Profile) Distort(r float64) float64 {
	if p == nil {
		return r
	}
	if limit := p.Distortion.turn(r); r > limit {
		return limit*p.Distortion.At(limit) + (r-limit)*turnSlope
	}
	return r * p.Distortion.At(r)
}

// turnSlope is the smallest slope of distortion that is believed: below it the
// polynomial has left the picture it was measured on.
const turnSlope = 0.2

// turn returns the first radius up to r where the slope falls to turnSlope, or r.
func (c Radial) turn(r float64) float64 {
	grows := true
	for i, v := range c[1:] {
		grows = grows && (v == 0 || v > 0 && i&1 == 1) // even powers only, all positive
	}
	if grows {
		return r
	}
	if c.slope(r) > turnSlope && c.slope(r/2) > turnSlope && c.slope(r*0.75) > turnSlope {
		return r
	}
	const steps = 64
	for i := 1; i <= steps; i++ {
		hi := r * float64(i) / steps
		if c.slope(hi) > turnSlope {
			continue
		}
		lo := r * float64(i-1) / steps
		for range 30 {
			if mid := (lo + hi) / 2; c.slope(mid) > turnSlope {
				lo = mid
			} else {
				hi = mid
			}
		}
		return lo
	}
	return r
}

// Undistort is the inverse of Distort.
func (p *Profile) Undistort(r float64) float64 {
	if p == nil || r == 0 {
		return r
	}
	u := r / p.Distortion[0]
	for range 12 {
		f := p.Distort(u) - r
		step := f / max(turnSlope, p.Distortion.slope(u))
		u = max(0, u-step)
		if math.Abs(step) < 1e-12 {
			return u
		}
	}
	// Newton did not settle: bisect. Distort is monotonic.
	lo, hi := 0.0, max(1, r)
	for p.Distort(hi) < r {
		hi *= 2
	}
	for range 60 {
		if mid := (lo + hi) / 2; p.Distort(mid) < r {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// Channel returns the ratio of the radius of channel c (0 red, 1 green, 2 blue) to
// that of green, at radius r as the lens draws it.
func (p *Profile) Channel(c int, r float64) float64 {
	switch {
	case p == nil || c == 1:
		return 1
	case c == 0:
		return p.Red.At(r)
	}
	return p.Blue.At(r)
}

// Lateral reports whether red or blue differ from green.
func (p *Profile) Lateral() bool { return p != nil && (p.Red != Unity || p.Blue != Unity) }

// Bends reports whether there is distortion.
func (p *Profile) Bends() bool { return p != nil && p.Distortion != Unity }

// Shades reports whether there is vignetting.
func (p *Profile) Shades() bool { return p != nil && (p.Falloff != Unity || p.Lift != Lift{}) }

// Gain returns what to multiply radiance by at radius r, as the lens draws it, to
// take vignetting away. It is never more than 8 (3 EV).
func (p *Profile) Gain(r float64) float64 {
	if !p.Shades() {
		return 1
	}
	gain := 1 / max(0.125, p.Falloff.At(r))
	if p.Lift != (Lift{}) {
		gain *= p.Lift.At(r)
	}
	return min(8, max(0.125, gain))
}

// Shift returns by how much a decentred lens moves what it would otherwise draw at
// (x, y) (half-diagonals from the axis, right and down as the sensor lies): the
// tangential terms of the model of Brown, as the DNG specification writes them.
func (p *Profile) Shift(x, y float64) (dx, dy float64) {
	if p == nil || p.Tangential == [2]float64{} {
		return 0, 0
	}
	rd := math.Hypot(x, y)
	if rd == 0 {
		return 0, 0
	}
	k := p.Undistort(rd) / rd
	x, y = k*x, k*y
	q, a, b := x*x+y*y, p.Tangential[0], p.Tangential[1]
	return 2*a*x*y + b*(q+2*x*x), 2*b*x*y + a*(q+2*y*y)
}

// Focal returns the factor from the focal length of the ideal picture, in which
// lines are straight, to that of the lens near the axis. Some models magnify
// the middle.
func (p *Profile) Focal() float64 {
	if p == nil {
		return 1
	}
	return p.Distortion[0]
}
