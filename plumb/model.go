package plumb

import (
	"math"

	"mullion/lens"
	"mullion/lines"
)

// The parameters of a model, all of them small numbers.
const (
	pitch  = iota // radians
	roll          // radians
	yaw           // radians from the nearest room axis, within 45 degrees
	logF          // log of the focal length over the first guess
	bend1         // undistorted = drawn radius * (1 + bend1 r^2 + bend2 r^4), r in half-diagonals
	bend2         //
	skewP         // radians by which the horizontals' frame is pitched
	skewR         // and rolled against the verticals: the axis is seldom in the middle
	yaw2          // of a second frame: furniture set askew
	params        // how many there are
)

type model [params]float64

type vec3 struct{ x, y, z float64 }

// axes returns the directions of down, of the room's right and of the room's
// depth in camera coordinates (x right, y down, z forward).
func (m model) axes() [3]vec3 {
	u := rotation(m[pitch], m[roll], m[yaw])
	r := u
	if m[skewP] != 0 || m[skewR] != 0 {
		r = rotation(m[pitch]+m[skewP], m[roll]+m[skewR], m[yaw])
	}
	return [3]vec3{{u[0].y, u[1].y, u[2].y}, {r[0].x, r[1].x, r[2].x}, {r[0].z, r[1].z, r[2].z}}
}

// maxFrames is how many frames of horizontal directions a view may have.
const maxFrames = 2

// yaws are the parameters that turn the frames.
var yaws = [maxFrames]int{yaw, yaw2}

// directions returns down and the two horizontal directions of each of n frames.
func (m model) directions(n int) (d [1 + 2*maxFrames]vec3) {
	for k := range n {
		m[yaw] = m[yaws[k]]
		a := m.axes()
		d[0], d[1+2*k], d[2+2*k] = a[0], a[1], a[2]
	}
	return d
}

// rotation returns the camera's right, down and forward in room coordinates.
func rotation(p, r, y float64) [3]vec3 {
	sp, cp := math.Sincos(p)
	sr, cr := math.Sincos(r)
	sy, cy := math.Sincos(y)
	forward := vec3{cp * sy, -sp, cp * cy}
	down := vec3{sp * sy, cp, sp * cy} // before rolling
	right := vec3{cy, 0, -sy}
	return [3]vec3{
		{cr*right.x + sr*down.x, cr*right.y + sr*down.y, cr*right.z + sr*down.z},
		{cr*down.x - sr*right.x, cr*down.y - sr*right.y, cr*down.z - sr*right.z},
		forward,
	}
}

// obs is one observed piece of line: its ends in half-diagonals from the middle,
// as the lens drew it or, with a profile, as an ideal lens would have.
type obs struct {
	x1, y1, x2, y2 float64
	sigma          float64 // standard error of the direction in radians
	weight         float64 // length in half-diagonals, the long ones capped
	seg            int     // the segment it is part of
}

// solver holds the observations of a view.
type solver struct {
	v        View
	half     float64 // half-diagonal in pixels
	f0       float64 // first guess of the ideal picture's focal length, half-diagonals
	obs      []obs
	freeF    bool
	freeBend bool
	freeSkew bool      // the view's axis may be anywhere
	mean     model     // of the parameters' priors
	prior    model     // and their standard deviations
	unit     float64   // makes the mean weight 1
	undrawn  []ray     // scratch: the observations under the current model
	lines    []opinion // and what they say
	frames   int       // frames of horizontal directions in use
}

// unmeasured is the standard error in pixels across a segment's length when its
// detector doesn't say: each end is off by half a pixel.
const unmeasured = 0.7

type ray struct{ x, y, dx, dy float64 } // midpoint and unit direction, tangent units

// newSolver returns the solver of a view whose lens is as v says. Pieces of one
// line are joined.
func newSolver(segs []lines.Segment, v View) *solver {
	s := bareSolver(v)
	segs = s.room(segs)
	for i, g := range join(segs, s.pieceError(segs)) {
		l := g.Length()
		s.put(i, g.X1, g.Y1, g.X2, g.Y2, sigmaOf(g), l)
	}
	s.finish()
	return s
}

// newBender returns the solver of a view whose lens's bend is to be found from the
// bends of the segments.
func newBender(segs []lines.Segment, v View) *solver {
	s := bareSolver(v)
	s.freeBend = true
	for i, g := range s.room(segs) {
		s.putBent(i, g)
	}
	s.finish()
	return s
}

func bareSolver(v View) *solver {
	s := &solver{v: v, half: math.Hypot(float64(v.W), float64(v.H)) / 2, freeF: v.FocalPx <= 0}
	// Without a focal length: that of a moderate wide-angle lens, 24 mm on the
	// 36 x 24 format, which is common practice indoors.
	s.f0 = 24 / (math.Hypot(36, 24) / 2)
	if !s.freeF {
		s.f0 = v.FocalPx / s.half / v.Profile.Focal()
	}
	// Cameras are held nearly level: half of all rolls are under 2 degrees, one in ten over
	// 6 (Student's t, see odds); pitch is free. Distortion of a wide rectilinear lens is a
	// few per cent at the corner.
	s.prior = model{rad(15), rad(2.5), 10, 0.35, 0.05, 0.03, rad(0.7), rad(0.7), 10}
	s.frames = 1
	if h := v.Habit; h != nil {
		s.mean[pitch], s.prior[pitch] = rad(h.PitchDeg), rad(h.PitchSpread)
		s.mean[roll], s.prior[roll] = rad(h.RollDeg), rad(h.RollSpread)
	}
	s.freeSkew = v.LooseAxis && v.Centre == nil
	return s
}

// finish makes what depends on all observations.
func (s *solver) finish() {
	s.spread()
	s.undrawn = make([]ray, len(s.obs))
	s.lines = make([]opinion, len(s.obs))
	var sum float64
	for _, o := range s.obs {
		sum += o.weight
	}
	s.unit = float64(len(s.obs)) / max(1e-9, sum)
}

// spread takes weight from steep lines that crowd: forty folds of one curtain say
// less than four door frames across the picture. In each sixteenth of the width
// weight beyond that of one tall line counts for its square root.
func (s *solver) spread() {
	const columns = 16
	const enough = 0.3
	half := float64(s.v.W) / 2 / s.half
	column := func(o obs) int {
		return max(0, min(columns-1, int(((o.x1+o.x2)/2/half+1)/2*columns)))
	}
	steep := func(o obs) bool { return math.Abs(o.y2-o.y1) > math.Abs(o.x2-o.x1) }
	var sum [columns]float64
	for _, o := range s.obs {
		if steep(o) {
			sum[column(o)] += o.weight
		}
	}
	for i, o := range s.obs {
		if t := sum[column(o)]; steep(o) && t > enough {
			s.obs[i].weight *= math.Sqrt(enough / t)
		}
	}
}

// room returns the segments that may be lines of the room, in pixels from the
// optical axis as an ideal lens would have drawn them.
func (s *solver) room(segs []lines.Segment) []lines.Segment {
	c := s.v.centre()
	out := make([]lines.Segment, 0, len(segs))
	for _, g := range segs {
		if g.Length() == 0 || s.border(g) {
			continue
		}
		g.X1, g.Y1 = s.undraw(g.X1-c.X, g.Y1-c.Y)
		g.X2, g.Y2 = s.undraw(g.X2-c.X, g.Y2-c.Y)
		out = append(out, g)
	}
	return out
}

// sigmaOf is the standard error of a segment's direction.
func sigmaOf(g lines.Segment) float64 {
	if g.Sigma == 0 {
		return unmeasured / g.Length()
	}
	return g.Sigma
}

// longest is the length in half-diagonals beyond which a line counts for no more.
const longest = 0.6

// put adds the observation of a line from (x1, y1) to (x2, y2) in pixels, which
// counts for the given length.
func (s *solver) put(seg int, x1, y1, x2, y2, sigma, length float64) {
	k := 1 / s.half
	s.obs = append(s.obs, obs{x1 * k, y1 * k, x2 * k, y2 * k, sigma, min(length*k, longest), seg})
}

// putBent adds a segment as two halves of the parabola that was fitted to it, which
// carry its bend, or as one when that wasn't measured.
func (s *solver) putBent(i int, g lines.Segment) {
	l, sigma := g.Length(), sigmaOf(g)
	if g.BendSigma == 0 || g.BendSigma > 0.02*l {
		s.put(i, g.X1, g.Y1, g.X2, g.Y2, sigma, l)
		return
	}
	// The straight fit leaves the parabola 2/3 of the sagitta at the ends and 1/3
	// in the middle, on the other side.
	rx, ry := -(g.Y2-g.Y1)/l, (g.X2-g.X1)/l
	e, m := -g.Bend*2/3, g.Bend/3
	mx, my := (g.X1+g.X2)/2+m*rx, (g.Y1+g.Y2)/2+m*ry
	sigma = math.Hypot(sigma, 4*g.BendSigma/l)
	s.put(i, g.X1+e*rx, g.Y1+e*ry, mx, my, sigma, l/2)
	s.put(i, mx, my, g.X2+e*rx, g.Y2+e*ry, sigma, l/2)
}

// border reports a segment that runs along the picture's edge: a frame drawn
// around it, not a part of the room.
func (s *solver) border(g lines.Segment) bool {
	d := 0.012 * float64(max(s.v.W, s.v.H))
	along := func(a, b, size float64) bool { return max(a, b) < d || min(a, b) > size-d }
	return along(g.X1, g.X2, float64(s.v.W)) || along(g.Y1, g.Y2, float64(s.v.H))
}

// undraw takes a place, in pixels from the axis, to where an ideal lens has it.
func (s *solver) undraw(x, y float64) (float64, float64) {
	if !s.v.Profile.Bends() {
		return x, y
	}
	r := math.Hypot(x, y) / s.half
	if r == 0 {
		return x, y
	}
	k := s.v.Profile.Undistort(r) / r
	return x * k, y * k
}

// start is the model of a camera held straight.
func (s *solver) start() model { return model{} }

// focal returns the focal length in pixels, as the lens has it near the axis.
func (s *solver) focal(m model) float64 {
	return s.f0 * math.Exp(m[logF]) * s.half * s.v.Profile.Focal()
}

// project computes undrawn: the observations as rays of an ideal camera.
func (s *solver) project(m model) {
	inv := math.Exp(-m[logF]) / s.f0
	a, b := m[bend1], m[bend2]
	for i := range s.obs {
		o := &s.obs[i]
		q1, q2 := o.x1*o.x1+o.y1*o.y1, o.x2*o.x2+o.y2*o.y2
		k1, k2 := inv*(1+q1*(a+q1*b)), inv*(1+q2*(a+q2*b))
		x1, y1, x2, y2 := o.x1*k1, o.y1*k1, o.x2*k2, o.y2*k2
		dx, dy := x2-x1, y2-y1
		n := 1 / math.Sqrt(dx*dx+dy*dy)
		s.undrawn[i] = ray{(x1 + x2) / 2, (y1 + y2) / 2, dx * n, dy * n}
	}
}

// miss is the sine of the angle between a piece of line and the line from its
// middle to the vanishing point of v.
func (r ray) miss(v vec3) float64 {
	qx, qy := v.x-v.z*r.x, v.y-v.z*r.y
	n := qx*qx + qy*qy
	if n < 1e-18 {
		return 1
	}
	return (r.dx*qy - r.dy*qx) / math.Sqrt(n)
}

// estimated returns the profile of the fitted distortion: a polynomial that
// takes ideal radii to drawn ones, by least squares over the picture.
func (s *solver) estimated(m model) *lens.Profile {
	p := lens.New("estimated", fmtOrigin)
	var a [3][4]float64 // normal equations for the coefficients of r^2, r^4, r^6
	for i := 1; i <= 100; i++ {
		d := float64(i) / 100
		q := d * d
		u := d * (1 + q*(m[bend1]+q*m[bend2]))
		target := d/u - 1
		t := [3]float64{u * u, math.Pow(u, 4), math.Pow(u, 6)}
		for j := range 3 {
			for k := range 3 {
				a[j][k] += t[j] * t[k]
			}
			a[j][3] += t[j] * target
		}
	}
	x, ok := solve(rows(a[:]))
	if !ok {
		return nil
	}
	p.Distortion = lens.Radial{1, 0, x[0], 0, x[1], 0, x[2]}
	return s.v.Profile.With(p)
}

const fmtOrigin = "estimated from this view's straight lines"

func rows(a [][4]float64) [][]float64 {
	out := make([][]float64, len(a))
	for i := range a {
		out[i] = a[i][:]
	}
	return out
}
