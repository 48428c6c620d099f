package plumb

import "math"

// Point is a place in a picture in pixels, or a direction when it lies at
// infinity.
type Point struct {
	X, Y float64
	// Homogeneous is the same place as (x, y, w) of unit length with
	// X = x/w and Y = y/w; w is 0 at infinity.
	Homogeneous [3]float64
}

// farthest bounds the coordinates of a vanishing point in pixels: beyond it
// parallel lines meet nowhere that a picture could tell from infinity.
const farthest = 1e9

// VanishingPoints returns where, in the upright picture from which the lens's distortion has been taken out, the verticals, the lines across and
// the lines into the depth meet. They are those of the pose that was found,
// whatever its confidence.
func (p Pose) VanishingPoints() (vertical, across, depth Point) {
	f := p.FocalPx / p.Profile.Focal()
	at := func(v vec3) Point {
		q := [3]float64{f*v.x + p.Centre.X*v.z, f*v.y + p.Centre.Y*v.z, v.z}
		n := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2])
		for i := range q {
			q[i] /= n
		}
		out := Point{Homogeneous: q}
		z := q[2]
		if least := math.Hypot(q[0], q[1]) / farthest; math.Abs(z) < least {
			z = math.Copysign(least, z)
		}
		out.X, out.Y = q[0]/z, q[1]/z
		return out
	}
	a := model{rad(p.PitchDeg), rad(p.RollDeg), rad(p.YawDeg)}.axes()
	return at(a[0]), at(a[1]), at(a[2])
}
