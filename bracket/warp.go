package bracket

import "math"

// warp maps a point of the reference's proof to the same point of the scene in a
// frame's proof: a rotation, scale and shear about the centre, a shift, and for
// hand-held frames a mesh of small displacements on top.
type warp struct {
	cx, cy float64
	a      [2][2]float64
	tx, ty float64
	mesh   *mesh
}

func still(w, h int) warp {
	return warp{cx: float64(w-1) / 2, cy: float64(h-1) / 2, a: [2][2]float64{{1, 0}, {0, 1}}}
}

func (t warp) at(x, y float64) (float64, float64) {
	dx, dy := x-t.cx, y-t.cy
	u := t.cx + t.tx + t.a[0][0]*dx + t.a[0][1]*dy
	v := t.cy + t.ty + t.a[1][0]*dx + t.a[1][1]*dy
	if t.mesh != nil {
		mx, my := t.mesh.at(x, y)
		u, v = u+mx, v+my
	}
	return u, v
}

// after returns the map that applies first, then t. Meshes are not composed.
func (t warp) after(first warp) warp {
	r := first
	r.mesh = nil
	for i := range 2 {
		for j := range 2 {
			r.a[i][j] = t.a[i][0]*first.a[0][j] + t.a[i][1]*first.a[1][j]
		}
	}
	r.tx = t.tx + t.a[0][0]*first.tx + t.a[0][1]*first.ty
	r.ty = t.ty + t.a[1][0]*first.tx + t.a[1][1]*first.ty
	return r
}

// finer is the same map on a proof twice the size (samples of the coarse one lie
// on every second sample of the fine one).
func (t warp) finer(w, h int) warp {
	cx, cy := float64(w-1)/2, float64(h-1)/2
	// The centres of the two sizes differ by up to half a sample: move the shift.
	x, y := t.at(cx/2, cy/2)
	return warp{cx: cx, cy: cy, a: t.a, tx: 2*x - cx, ty: 2*y - cy}
}

// rotation is the angle of the content in radians, clockwise on screen positive.
func (t warp) rotation() float64 {
	return math.Atan2(t.a[1][0]-t.a[0][1], t.a[0][0]+t.a[1][1])
}

// reach is the largest displacement over the frame, in proof samples.
func (t warp) reach() float64 {
	var most float64
	w, h := 2*t.cx, 2*t.cy
	for j := range 5 {
		for i := range 5 {
			x, y := w*float64(i)/4, h*float64(j)/4
			u, v := t.at(x, y)
			most = max(most, math.Hypot(u-x, v-y))
		}
	}
	return most
}

// mesh is a grid of displacements, bilinear between its nodes.
type mesh struct {
	nx, ny int
	cw, ch float64 // cell size in proof samples
	dx, dy []float64
}

func newMesh(w, h, nx, ny int) *mesh {
	return &mesh{nx: nx, ny: ny, cw: float64(w-1) / float64(nx-1), ch: float64(h-1) / float64(ny-1),
		dx: make([]float64, nx*ny), dy: make([]float64, nx*ny)}
}

// cell returns the node above left of a point and the weights of the four around.
func (m *mesh) cell(x, y float64) (i int, w [4]float64) {
	fx, fy := x/m.cw, y/m.ch
	ix := max(0, min(m.nx-2, int(fx)))
	iy := max(0, min(m.ny-2, int(fy)))
	fx, fy = max(0, min(1, fx-float64(ix))), max(0, min(1, fy-float64(iy)))
	return iy*m.nx + ix, [4]float64{(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy}
}

func (m *mesh) at(x, y float64) (dx, dy float64) {
	i, w := m.cell(x, y)
	j := i + m.nx
	return w[0]*m.dx[i] + w[1]*m.dx[i+1] + w[2]*m.dx[j] + w[3]*m.dx[j+1],
		w[0]*m.dy[i] + w[1]*m.dy[i+1] + w[2]*m.dy[j] + w[3]*m.dy[j+1]
}
