package raster

// Sampled is a smooth map of the unit square, known at the nodes of a grid and found
// between them along straight lines. A turn of the camera bends none within a cell.
type Sampled struct {
	node [cells + 1][cells + 1][2]float64
}

const cells = 24

// Sample asks at for the nodes.
func Sample(at func(x, y float64) (float64, float64)) *Sampled {
	s := &Sampled{}
	for j := range s.node {
		for i := range s.node[j] {
			x, y := at(float64(i)/cells, float64(j)/cells)
			s.node[j][i] = [2]float64{x, y}
		}
	}
	return s
}

// At is where (x, y) leads, both 0 to 1.
func (s *Sampled) At(x, y float64) (tx, ty float64) {
	u, v := x*cells, y*cells
	i, j := min(int(u), cells-1), min(int(v), cells-1)
	u, v = u-float64(i), v-float64(j)
	a, b, c, d := &s.node[j][i], &s.node[j][i+1], &s.node[j+1][i], &s.node[j+1][i+1]
	between := func(k int) float64 {
		top := a[k] + (b[k]-a[k])*u
		end := c[k] + (d[k]-c[k])*u
		return top + (end-top)*v
	}
	return between(0), between(1)
}
