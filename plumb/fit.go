package plumb

import (
	"math"
	"slices"
)

// gates are the scales of the robust fit in radians: from what the search leaves
// to what real lines scatter by. The last is adapted to the view by settle.
var gates = [...]float64{0.026, 0.022, 0.018, 0.014}

// A view's own scale lies between these, in radians (0.35 and 0.8 degrees).
const (
	tightest = 0.006
	widest   = 0.014
)

// wander is how far a real "vertical" is off: building tolerances and what the
// lens model leaves, in radians (0.08 degrees).
const wander = 0.0014

// squareness is the weight of horizontal lines beside vertical ones: rooms and
// what stands in them are less square than they are upright.
const squareness = 0.2

// fit refines m by Gauss-Newton steps on the angles of the lines to their
// vanishing points, weighted by length and standard error, with Tukey's
// biweight at a shrinking scale. Each line counts for the one of the three
// directions it meets best, and is assigned again before every step.
func (s *solver) fit(m model) model {
	for i, gate := range gates {
		if i < 2 && s.freeBend {
			gate *= 1.5 // bent lines are still far off
		}
		for range 2 {
			m = s.step(m, gate)
		}
	}
	for range 8 {
		m = s.step(m, s.settle(m))
	}
	return m
}

// settle returns the scale of the fit for this view: four standard deviations of
// its verticals, from the median of their residuals. In a sharp picture of a
// good house that keeps furniture out; in a small or soft one it lets real
// verticals in.
func (s *solver) settle(m model) float64 {
	s.assign(m, gates[len(gates)-1])
	var res []float64
	for i, k := range s.assigned {
		if k == 0 {
			res = append(res, math.Abs(s.residuals[i]))
		}
	}
	if len(res) == 0 {
		return widest
	}
	slices.Sort(res)
	return max(tightest, min(widest, 4*1.4826*res[len(res)/2]))
}

// free lists the parameters that are to be found.
func (s *solver) free() []int {
	f := []int{pitch, roll, yaw}
	if s.freeF {
		f = append(f, logF)
	}
	if s.freeBend {
		f = append(f, bend1, bend2)
	}
	return f
}

func (s *solver) step(m model, gate float64) model {
	a := s.normal(m, gate)
	x, ok := solve(a)
	if !ok {
		return m
	}
	for i, p := range s.free() {
		m[p] += max(-0.1, min(0.1, x[i]))
	}
	m[pitch] = max(-rad(40), min(rad(40), m[pitch]))
	m[roll] = max(-rad(20), min(rad(20), m[roll]))
	for m[yaw] > math.Pi/4 {
		m[yaw] -= math.Pi / 2
	}
	for m[yaw] <= -math.Pi/4 {
		m[yaw] += math.Pi / 2
	}
	return m
}

// assign sets residuals and, for each observation, the direction it belongs to:
// 0 down, 1 across, 2 depth, -1 none.
func (s *solver) assign(m model, gate float64) {
	s.project(m)
	ax := m.axes()
	for i, r := range s.undrawn {
		s.assigned[i] = -1
		limit := gate * math.Hypot(1, s.obs[i].sigma/wander/3)
		for k, v := range ax {
			e := r.miss(v)
			if math.Abs(e) < limit && !ambiguous(r, v) {
				limit = math.Abs(e)
				s.assigned[i], s.residuals[i] = int8(k), e
			}
		}
	}
}

// ambiguous reports a line so near its own vanishing point that it says nothing.
func ambiguous(r ray, v vec3) bool {
	return sq(v.x-v.z*r.x)+sq(v.y-v.z*r.y) < 0.05*0.05
}

// weigh is the weight of an assigned observation in units of 1/variance.
func (s *solver) weigh(i int, gate float64) float64 {
	o := &s.obs[i]
	e := s.residuals[i] / (gate * math.Hypot(1, o.sigma/wander/3))
	u := max(0, 1-e*e)
	w := u * u * o.weight / 0.1 / (o.sigma*o.sigma + wander*wander)
	if s.assigned[i] != 0 {
		w *= squareness
	}
	return w
}

// normal returns the normal equations of one step, priors included, as rows of an
// augmented matrix.
func (s *solver) normal(m model, gate float64) [][]float64 {
	free := s.free()
	n := len(free)
	s.assign(m, gate)
	base := append([]float64(nil), s.residuals...)
	jac := make([][]float64, n)
	const h = 1e-5
	for j, p := range free {
		q := m
		q[p] += h
		s.project(q)
		ax := q.axes()
		jac[j] = make([]float64, len(s.obs))
		for i, r := range s.undrawn {
			if k := s.assigned[i]; k >= 0 {
				jac[j][i] = (r.miss(ax[k]) - base[i]) / h
			}
		}
	}
	a := make([][]float64, n)
	for j := range a {
		a[j] = make([]float64, n+1)
	}
	for i := range s.obs {
		if s.assigned[i] < 0 {
			continue
		}
		w := s.weigh(i, gate)
		for j := range n {
			for k := range n {
				a[j][k] += w * jac[j][i] * jac[k][i]
			}
			a[j][n] -= w * jac[j][i] * base[i]
		}
	}
	for j, p := range free {
		w := 1 / sq(s.prior[p])
		a[j][j] += w
		a[j][n] -= w * m[p]
	}
	return a
}

// solve solves the linear equations of an augmented matrix by elimination with
// pivoting; false when they are singular.
func solve(a [][]float64) ([]float64, bool) {
	n := len(a)
	for c := range n {
		p := c
		for r := c + 1; r < n; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[p][c]) {
				p = r
			}
		}
		if !(math.Abs(a[p][c]) > 1e-12) {
			return nil, false
		}
		a[c], a[p] = a[p], a[c]
		for r := range n {
			if r == c {
				continue
			}
			f := a[r][c] / a[c][c]
			for k := c; k < len(a[c]); k++ {
				a[r][k] -= f * a[c][k]
			}
		}
	}
	x := make([]float64, n)
	for i := range x {
		x[i] = a[i][n] / a[i][i]
	}
	return x, true
}
