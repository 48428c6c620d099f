package bracket

import (
	"context"
	"math"
)

// bendMesh fits a mesh of displacements on top of an affine warp: a free-form
// deformation (Rueckert et al., IEEE Trans. Med. Imaging 18, 1999, here bilinear)
// whose bending costs, so that parts of the picture without structure follow their
// surroundings.
func bendMesh(ctx context.Context, pts []point, b level, t warp) *mesh {
	w, h := b.log.W, b.log.H
	cell := max(24, float64(max(w, h))/24)
	nx, ny := max(3, int(math.Round(float64(w)/cell))+1), max(3, int(math.Round(float64(h)/cell))+1)
	t.mesh = newMesh(w, h, nx, ny)
	res := make([]residual, 0, len(pts))
	for i := 0; i < 4 && ctx.Err() == nil; i++ {
		res = sample(res[:0], pts, b, t)
		if len(res) < fewPoints {
			return t.mesh
		}
		scale := levelOut(res)
		if moved := stepMesh(t.mesh, res, scale); moved < 0.005 {
			break
		}
	}
	return t.mesh
}

// stiffness is the price of bending between neighbouring cells, relative to what
// the mean node knows from the picture.
const stiffness = 0.5

// stepMesh makes one Gauss-Newton step on the nodes and returns the largest move.
func stepMesh(g *mesh, res []residual, scale float64) float64 {
	n := g.nx * g.ny
	a := newSymmetric(2 * n)
	rhs := make([]float64, 2*n)
	cut := float32(6 * scale * scale)
	for i := range res {
		r := &res[i]
		q := 1 + r.r*r.r/(r.v*cut)
		w := float64(1 / (q * q * r.v))
		node, k := g.cell(float64(r.p.x), float64(r.p.y))
		ids := [4]int{node, node + 1, node + g.nx, node + g.nx + 1}
		gx, gy := float64(r.p.gx), float64(r.p.gy)
		for p := range 4 {
			i := 2 * ids[p]
			rhs[i] -= w * k[p] * gx * float64(r.r)
			rhs[i+1] -= w * k[p] * gy * float64(r.r)
			for q := range p + 1 { // ids rise with p
				c, j := w*k[p]*k[q], 2*ids[q]
				a.add(i, j, c*gx*gx)
				a.add(i+1, j+1, c*gy*gy)
				a.add(i+1, j, c*gx*gy)
				if q < p {
					a.add(i, j+1, c*gx*gy)
				}
			}
		}
	}
	var trace float64
	for i := range 2 * n {
		trace += a.at(i, i)
	}
	mean := trace / float64(2*n)
	bending(g, a, rhs, mean*stiffness)
	for i := range 2 * n {
		a.add(i, i, mean*1e-3)
		d := g.dx
		if i&1 == 1 {
			d = g.dy
		}
		rhs[i] -= mean * 1e-3 * d[i/2]
	}
	if !a.solve(rhs) {
		return 0
	}
	var most float64
	for i := range n {
		g.dx[i] += rhs[2*i]
		g.dy[i] += rhs[2*i+1]
		most = max(most, math.Abs(rhs[2*i]), math.Abs(rhs[2*i+1]))
	}
	return most
}

// bending adds the squared second differences of the displacements.
func bending(g *mesh, a *symmetric, rhs []float64, k float64) {
	price := func(i, j, l int) {
		ids, c := [3]int{i, j, l}, [3]float64{1, -2, 1}
		for half := range 2 {
			d := g.dx
			if half == 1 {
				d = g.dy
			}
			now := d[i] - 2*d[j] + d[l]
			for p := range 3 {
				rhs[2*ids[p]+half] -= k * c[p] * now
				for q := range p + 1 {
					a.add(2*ids[p]+half, 2*ids[q]+half, k*c[p]*c[q])
				}
			}
		}
	}
	for y := range g.ny {
		for x := range g.nx {
			i := y*g.nx + x
			if x > 0 && x < g.nx-1 {
				price(i-1, i, i+1)
			}
			if y > 0 && y < g.ny-1 {
				price(i-g.nx, i, i+g.nx)
			}
		}
	}
}

// symmetric is a symmetric positive matrix, lower triangle. Only near the diagonal it
// is not zero: the unknowns of a node, 2i and 2i+1, meet those two rows of nodes away
// at most, and so does its factor.
type symmetric struct {
	n    int
	v    []float64
	from []int // first column of a row that is not zero
}

func newSymmetric(n int) *symmetric {
	s := &symmetric{n, make([]float64, n*n), make([]int, n)}
	for i := range s.from {
		s.from[i] = i
	}
	return s
}

func (s *symmetric) add(i, j int, x float64) {
	s.v[i*s.n+j] += x
	if j < s.from[i] {
		s.from[i] = j
	}
}

func (s *symmetric) at(i, j int) float64 { return s.v[i*s.n+j] }

// solve replaces b by the solution of s x = b (Cholesky; s is destroyed).
func (s *symmetric) solve(b []float64) bool {
	for i := range s.n {
		ri := s.v[i*s.n : i*s.n+i+1]
		for j := s.from[i]; j <= i; j++ {
			rj := s.v[j*s.n : j*s.n+j+1]
			sum := ri[j]
			for k := max(s.from[i], s.from[j]); k < j; k++ {
				sum -= ri[k] * rj[k]
			}
			if i == j {
				if sum <= 0 {
					return false
				}
				ri[i] = math.Sqrt(sum)
			} else {
				ri[j] = sum / rj[j]
			}
		}
	}
	for i := range s.n {
		for k := s.from[i]; k < i; k++ {
			b[i] -= s.v[i*s.n+k] * b[k]
		}
		b[i] /= s.v[i*s.n+i]
	}
	for i := s.n - 1; i >= 0; i-- {
		b[i] /= s.v[i*s.n+i]
		for k := s.from[i]; k < i; k++ {
			b[k] -= s.v[i*s.n+k] * b[i]
		}
	}
	return true
}
