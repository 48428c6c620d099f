package plumb

import (
	"fmt"
	"math"
)

// ErrDrawn is returned for lines that can't all be verticals of one room.
var ErrDrawn = fmt.Errorf("these lines can't be upright edges of one room: draw them along door frames, corners or window jambs, from end to end")

// Drawn returns the pitch and roll in degrees in which lines that a person drew along
// upright edges are vertical. The lines are x1, y1, x2, y2 in pixels of the upright
// picture of w x h pixels as the lens drew it. Each line spans a plane with the camera,
// and the vertical lies in all of them (Caprile & Torre, IJCV 4(2), 1990); a single line
// leaves it as near to the pose's own as it can be. Over 45 degrees is an error.
func (p Pose) Drawn(w, h int, lines [][4]float64) (pitchDeg, rollDeg float64, err error) {
	start := [3]float64{0, 1, 0}
	if p.Confidence >= Sure {
		r := rotation(rad(p.PitchDeg), rad(p.RollDeg), 0)
		start = [3]float64{r[0].y, r[1].y, r[2].y}
	}
	// (sum of n n' + k) v = k start, with the planes' normals n and a k that only
	// decides what the lines leave open.
	const k = 1e-7
	m := [3][4]float64{{k, 0, 0, k * start[0]}, {0, k, 0, k * start[1]}, {0, 0, k, k * start[2]}}
	for _, l := range lines {
		a, b := p.ray(w, h, l[0], l[1]), p.ray(w, h, l[2], l[3])
		n := [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
		size := math.Sqrt(n[0]*n[0] + n[1]*n[1] + n[2]*n[2])
		if size < 0.01 { // shorter than about half a degree
			return 0, 0, ErrDrawn
		}
		for i := range 3 {
			for j := range 3 {
				m[i][j] += n[i] * n[j] / (size * size)
			}
		}
	}
	v := solve3(m)
	size := math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
	pitchDeg = -math.Asin(v[2]/size) * 180 / math.Pi
	rollDeg = math.Atan2(v[0], v[1]) * 180 / math.Pi
	if !(size > 0) || math.Abs(pitchDeg) > 45 || math.Abs(rollDeg) > 45 {
		return 0, 0, ErrDrawn
	}
	return pitchDeg, rollDeg, nil
}

// ray is the direction in camera coordinates (x right, y down, z forward) in which a
// place of the picture was seen.
func (p Pose) ray(w, h int, x, y float64) [3]float64 {
	f := p.FocalPx
	if f <= 0 {
		f = float64(max(w, h))
	}
	c := p.Centre
	if c == (Centre{}) {
		c = View{W: w, H: h}.centre()
	}
	half := math.Hypot(float64(w), float64(h)) / 2
	x, y = x-c.X, y-c.Y
	if r := math.Hypot(x, y) / half; r > 1e-9 {
		k := p.Profile.Undistort(r) / r
		x, y = x*k, y*k
	}
	return unit3([3]float64{x, y, f / p.Profile.Focal()})
}

func unit3(v [3]float64) [3]float64 {
	n := math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
	return [3]float64{v[0] / n, v[1] / n, v[2] / n}
}

// solve3 solves three equations by elimination with pivots.
func solve3(m [3][4]float64) (v [3]float64) {
	for i := range 3 {
		best := i
		for j := i + 1; j < 3; j++ {
			if math.Abs(m[j][i]) > math.Abs(m[best][i]) {
				best = j
			}
		}
		m[i], m[best] = m[best], m[i]
		for j := i + 1; j < 3; j++ {
			f := m[j][i] / m[i][i]
			for k := i; k < 4; k++ {
				m[j][k] -= f * m[i][k]
			}
		}
	}
	for i := 2; i >= 0; i-- {
		v[i] = m[i][3]
		for k := i + 1; k < 3; k++ {
			v[i] -= m[i][k] * v[k]
		}
		v[i] /= m[i][i]
	}
	return v
}
