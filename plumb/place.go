package plumb

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// Known is the attitude of a view that follows from another view of the same place.
type Known struct {
	PitchDeg float64 `json:"pitch_deg"`
	RollDeg  float64 `json:"roll_deg"`
	Lines    int     `json:"lines"` // that both views show
}

// A camera that only turns on its tripod sees every line of the room in a plane
// through the same point. The planes' normals turn with the camera and nothing else
// happens to them, so two views of one place are told by their lines alone, and
// the turn between them is known exactly. If the camera moved, next to nothing fits.
const (
	sightLines  = 90   // the longest lines of a view that are compared
	sightPairs  = 36   // the longest of them that hypotheses are made from
	sameAngle   = 0.25 // degrees between normals of one line
	fewestLines = 12   // that both views must show
)

// sight is a view's lines as a camera at the origin sees them.
type sight struct {
	n, a, b []vec3 // normals of the planes, and the rays of the ends
	weight  []float64
	w, h, f float64
	centre  Centre
}

// newSight returns the lines of a view whose focal length is known; nil when they are
// too few to know a place by.
func newSight(e Evidence, v View) *sight {
	if v.FocalPx <= 0 {
		return nil
	}
	s := &sight{w: float64(v.W), h: float64(v.H), f: v.FocalPx / v.Profile.Focal(), centre: v.centre()}
	for _, g := range bareSolver(v).room(e.segments()) {
		if len(s.n) == sightLines {
			break
		}
		a, b := unit(vec3{g.X1, g.Y1, s.f}), unit(vec3{g.X2, g.Y2, s.f})
		c := cross(a, b)
		size := math.Sqrt(dot(c, c))
		if size < 0.02 { // a degree: its plane is poorly known
			continue
		}
		s.n, s.a, s.b = append(s.n, vec3{c.x / size, c.y / size, c.z / size}), append(s.a, a), append(s.b, b)
		s.weight = append(s.weight, size)
	}
	if len(s.n) < fewestLines {
		return nil
	}
	return s
}

func dot(a, b vec3) float64 { return a.x*b.x + a.y*b.y + a.z*b.z }

func cross(a, b vec3) vec3 {
	return vec3{a.y*b.z - a.z*b.y, a.z*b.x - a.x*b.z, a.x*b.y - a.y*b.x}
}

func unit(v vec3) vec3 {
	n := 1 / math.Sqrt(dot(v, v))
	return vec3{n * v.x, n * v.y, n * v.z}
}

// turn is a rotation: its rows take a direction to the other camera's coordinates.
type turn [3]vec3

func (t *turn) of(v vec3) vec3 { return vec3{dot(t[0], v), dot(t[1], v), dot(t[2], v)} }

// frameOf returns the right-handed frame of two normals, as columns.
func frameOf(a, b vec3) (x, y, z vec3) {
	x, z = a, unit(cross(a, b))
	return x, cross(z, x), z
}

// between returns the turn that takes the pair (a, b) of normals to (c, d).
func between(a, b, c, d vec3) turn {
	p, q, r := frameOf(a, b)
	u, v, w := frameOf(c, d)
	row := func(ui, vi, wi float64) vec3 {
		return vec3{ui*p.x + vi*q.x + wi*r.x, ui*p.y + vi*q.y + wi*r.y, ui*p.z + vi*q.z + wi*r.z}
	}
	return turn{row(u.x, v.x, w.x), row(u.y, v.y, w.y), row(u.z, v.z, w.z)}
}

// pair is two lines and the angle between their normals.
type pair struct {
	angle float64
	i, j  int
}

func (s *sight) pairs() (out []pair) {
	n := min(sightPairs, len(s.n))
	for i := range n {
		for j := range n {
			a := math.Acos(max(-1, min(1, dot(s.n[i], s.n[j]))))
			if i != j && a > rad(20) && a < rad(160) {
				out = append(out, pair{a, i, j})
			}
		}
	}
	slices.SortFunc(out, func(a, b pair) int { return compare(a.angle, b.angle) })
	return out
}

// turnTo returns the turn from this view's camera to that of o, and how many lines
// both show; false when they weren't taken from one place.
func (s *sight) turnTo(ctx context.Context, o *sight) (best turn, lines int, ok bool) {
	mine, theirs := s.pairs(), o.pairs()
	tol := rad(sameAngle)
	score, from := 0.0, 0
	for k, p := range mine {
		if k&63 == 0 && ctx.Err() != nil {
			return best, 0, false
		}
		if p.i > p.j {
			continue // each pair once; theirs come both ways round
		}
		for from < len(theirs) && theirs[from].angle < p.angle-tol {
			from++
		}
		for _, q := range theirs[from:] {
			if q.angle > p.angle+tol {
				break
			}
			t := between(s.n[p.i], s.n[p.j], o.n[q.i], o.n[q.j])
			if !o.covers(&t, s, p.i, q.i) || !o.covers(&t, s, p.j, q.j) {
				continue
			}
			if share, n := s.agree(&t, o, nil); n >= fewestLines/2 && share*float64(n) > score {
				best, score = t, share*float64(n)
			}
		}
	}
	if score == 0 {
		return best, 0, false
	}
	share := 0.0
	for range 5 {
		var found [][2]int
		share, lines = s.agree(&best, o, &found)
		best = s.refine(best, o, found)
	}
	return best, lines, lines >= fewestLines && share > 0.5
}

// covers reports whether line i of s, turned, lies where line k of o is.
func (o *sight) covers(t *turn, s *sight, i, k int) bool {
	m := unit(vec3{s.a[i].x + s.b[i].x, s.a[i].y + s.b[i].y, s.a[i].z + s.b[i].z})
	return o.along(t.of(m), k)
}

// along reports whether the ray m, near the plane of line k, lies on the line's piece.
func (o *sight) along(m vec3, k int) bool {
	e := o.weight[k] * 0.3 // detectors break lines differently
	return dot(cross(o.a[k], m), o.n[k]) > -e && dot(cross(m, o.b[k]), o.n[k]) > -e
}

// agree returns the share of the lines of s, by length, that o shows where the turn has
// them, among those that lie within o's picture, and their number.
func (s *sight) agree(t *turn, o *sight, found *[][2]int) (share float64, n int) {
	near := math.Cos(rad(sameAngle))
	var expected, met float64
	for i := range s.n {
		m := t.of(unit(vec3{s.a[i].x + s.b[i].x, s.a[i].y + s.b[i].y, s.a[i].z + s.b[i].z}))
		if m.z < 0.1 {
			continue
		}
		x, y := o.centre.X+o.f*m.x/m.z, o.centre.Y+o.f*m.y/m.z
		if x < 0.02*o.w || y < 0.02*o.h || x > 0.98*o.w || y > 0.98*o.h {
			continue
		}
		expected += s.weight[i]
		v := t.of(s.n[i])
		for k := range o.n {
			if dot(v, o.n[k]) > near && o.along(m, k) {
				met += s.weight[i]
				n++
				if found != nil {
					*found = append(*found, [2]int{i, k})
				}
				break
			}
		}
	}
	return met / max(expected, 1e-9), n
}

// refine improves the turn by least squares over the lines found in both views.
func (s *sight) refine(t turn, o *sight, found [][2]int) turn {
	a := [][]float64{make([]float64, 4), make([]float64, 4), make([]float64, 4)}
	for _, f := range found {
		v, w := t.of(s.n[f[0]]), s.weight[f[0]]*o.weight[f[1]]
		c := [3]float64{v.x, v.y, v.z}
		r := cross(v, o.n[f[1]])
		for i := range 3 {
			for j := range 3 {
				a[i][j] -= w * c[i] * c[j]
			}
			a[i][i] += w
		}
		a[0][3], a[1][3], a[2][3] = a[0][3]+w*r.x, a[1][3]+w*r.y, a[2][3]+w*r.z
	}
	x, ok := solve(a)
	if !ok {
		return t
	}
	by := func(v vec3) vec3 { // the small turn x
		c := cross(vec3{x[0], x[1], x[2]}, v)
		return vec3{v.x + c.x, v.y + c.y, v.z + c.z}
	}
	// The columns of t turned, made square again.
	p := unit(by(vec3{t[0].x, t[1].x, t[2].x}))
	q := by(vec3{t[0].y, t[1].y, t[2].y})
	r := unit(cross(p, q))
	q = cross(r, p)
	return turn{{p.x, q.x, r.x}, {p.y, q.y, r.y}, {p.z, q.z, r.z}}
}

// from returns the attitude that a turn from a camera of the given pose leads to.
func (t *turn) from(p Pose, lines int) *Known {
	v := t.of(model{rad(p.PitchDeg), rad(p.RollDeg)}.axes()[0])
	return &Known{PitchDeg: -deg(math.Asin(max(-1, min(1, v.z)))), RollDeg: deg(math.Atan2(v.x, v.y)), Lines: lines}
}

// samePlace looks for a sure view that was taken from the place of view i and returns
// the attitude that follows, from the surest turn; nil when there is none.
func samePlace(ctx context.Context, i int, sights []*sight, poses []Pose) (best *Known) {
	if sights[i] == nil {
		return nil
	}
	for j, p := range poses {
		if j == i || p.Confidence < Sure || sights[j] == nil {
			continue
		}
		if t, n, ok := sights[j].turnTo(ctx, sights[i]); ok && (best == nil || n > best.Lines) {
			best = t.from(p, n)
		}
	}
	return best
}

func (k *Known) note() string {
	return fmt.Sprintf("Few upright lines of its own: its level (pitch %+.2f, roll %+.2f degrees) follows from another view of the same place, which shows %d of its lines.", k.PitchDeg, k.RollDeg, k.Lines)
}
