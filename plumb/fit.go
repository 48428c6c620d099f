package plumb

import (
	"math"
	"slices"
)

// anneal is the scatter of the fit's first steps, in radians: from what the
// search leaves to what real lines scatter by.
var anneal = [...]float64{coarse, coarse, 0.009, 0.007}

// fit refines m by Gauss-Newton steps on the angles of the lines to their
// vanishing points: expectation and maximisation of the mixture of [judge], each
// line weighted by its length, its standard error and the probability that it
// belongs where it counts. The scatter shrinks, then becomes the view's own.
func (s *solver) fit(m model) model {
	for _, scatter := range anneal {
		if s.freeBend {
			scatter *= 1.5 // bent lines are still far off
		}
		m = s.step(m, scatter)
	}
	for range 3 {
		scatter, _ := s.likeliest(m)
		for range 3 {
			m = s.step(m, scatter)
		}
	}
	return m
}

// free lists the parameters that are to be found.
func (s *solver) free() []int {
	f := []int{pitch, roll}
	f = append(f, yaws[:s.frames]...)
	if s.freeSkew {
		f = append(f, skewP, skewR)
	}
	if s.freeF {
		f = append(f, logF)
	}
	if s.freeBend {
		f = append(f, bend1, bend2)
	}
	return f
}

func (s *solver) step(m model, scatter float64) model {
	a := s.normal(m, scatter)
	x, ok := solve(a)
	if !ok {
		return m
	}
	for i, p := range s.free() {
		m[p] += max(-0.1, min(0.1, x[i]))
	}
	m[pitch] = max(-rad(50), min(rad(50), m[pitch]))
	m[roll] = max(-rad(30), min(rad(30), m[roll]))
	for _, y := range yaws {
		m[y] -= math.Pi / 2 * math.Round(m[y]/(math.Pi/2))
	}
	return m
}

// ambiguous reports a line so near its own vanishing point that it says nothing.
func ambiguous(r ray, v vec3) bool {
	return sq(v.x-v.z*r.x)+sq(v.y-v.z*r.y) < 0.05*0.05
}

// weigh is the weight of an observation in units of 1/variance: that of Student's
// t for its error, times the probability that it belongs where it's assigned.
func (s *solver) weigh(i int) float64 {
	v := &s.lines[i]
	return s.obs[i].weight / 0.1 * v.share * 4 / (3*v.variance + sq(v.residual))
}

// normal returns the normal equations of one step, priors included, as rows of an
// augmented matrix: each line counts for every direction with the probability that
// it belongs there.
func (s *solver) normal(m model, scatter float64) [][]float64 {
	free := s.free()
	n := len(free)
	s.judge(m, scatter)
	ax := m.directions(s.frames)
	turned := make([][1 + 2*maxFrames]vec3, n) // how each parameter turns the directions
	moved := make([][]ray, n)                  // the observations, where a parameter moves them
	const h = 1e-5
	for j, p := range free {
		q := m
		q[p] += h
		if p == logF || p == bend1 || p == bend2 {
			s.project(q)
			moved[j] = slices.Clone(s.undrawn)
			continue
		}
		for k, d := range q.directions(s.frames) {
			turned[j][k] = vec3{(d.x - ax[k].x) / h, (d.y - ax[k].y) / h, (d.z - ax[k].z) / h}
		}
	}
	s.project(m)
	a := make([][]float64, n)
	for j := range a {
		a[j] = make([]float64, n+1)
	}
	jac := make([]float64, n)
	for i, r := range s.undrawn {
		v, o := &s.lines[i], &s.obs[i]
		own := o.sigma * o.sigma
		for k := range 1 + 2*s.frames {
			c := v.each[k]
			if c.share < 0.01 {
				continue
			}
			variance := own + sq(askew*scatter)
			if k == 0 {
				variance = own + sq(scatter)
			}
			w := o.weight / 0.1 * c.share * 4 / (3*variance + sq(c.residual)) // Student's t again
			g := r.slope(ax[k])
			for j := range n {
				if moved[j] != nil {
					jac[j] = (moved[j][i].miss(ax[k]) - c.residual) / h
				} else {
					jac[j] = dot(g, turned[j][k])
				}
			}
			for j := range n {
				for l := range n {
					a[j][l] += w * jac[j] * jac[l]
				}
				a[j][n] -= w * jac[j] * c.residual
			}
		}
	}
	for j, p := range free {
		w := 1 / sq(s.prior[p])
		if p == roll { // as in odds
			w = 4 / (3*sq(s.prior[p]) + sq(m[p]-s.mean[p]))
		}
		a[j][j] += w
		a[j][n] -= w * (m[p] - s.mean[p])
	}
	return a
}

// slope is the derivative of miss by the direction.
func (r ray) slope(v vec3) vec3 {
	qx, qy := v.x-v.z*r.x, v.y-v.z*r.y
	n := 1 / math.Sqrt(qx*qx+qy*qy)
	c := (r.dx*qy - r.dy*qx) * n * n
	gx, gy := n*(-r.dy-c*qx), n*(r.dx-c*qy)
	return vec3{gx, gy, -r.x*gx - r.y*gy}
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
