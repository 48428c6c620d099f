package whitebalance

// cell is the square between four nodes of the field.
type cell struct {
	n    [4]*node // top left, top right, bottom left, bottom right
	jump bool     // the light is not smooth across the cell
}

// smooth is the largest ratio of gains within a cell that straight interpolation
// may bridge: a step the eye doesn't see.
const smooth = 1.03

func (g *gains) cell(i, j int) cell {
	k := j*g.w + i
	c := cell{n: [4]*node{&g.node[k], &g.node[k+1], &g.node[k+g.w], &g.node[k+g.w+1]}}
	for _, ch := range [2]int{0, 2} {
		lo, hi := c.n[0].gain[ch], c.n[0].gain[ch]
		for _, n := range c.n[1:] {
			v := n.gain[ch]
			if v < lo {
				lo = v
			}
			if v > hi {
				hi = v
			}
		}
		c.jump = c.jump || hi > smooth*lo
	}
	return c
}

// ends are the gains at the left and right side of the cell at height fy.
func (c *cell) ends(fy float32) (left, slope [3]float32) {
	for k := range 3 {
		a := c.n[0].gain[k] + fy*(c.n[2].gain[k]-c.n[0].gain[k])
		b := c.n[1].gain[k] + fy*(c.n[3].gain[k]-c.n[1].gain[k])
		left[k], slope[k] = a, b-a
	}
	return left, slope
}

// scale multiplies a run of pixels by the interpolated gains.
func (c *cell) scale(r, g, b []float32, fy float32, s span) {
	left, slope := c.ends(fy)
	g, b = g[:len(r)], b[:len(r)]
	r0, g0, b0 := left[0]+s.x0*slope[0], left[1]+s.x0*slope[1], left[2]+s.x0*slope[2]
	dr, dg, db := s.dx*slope[0], s.dx*slope[1], s.dx*slope[2]
	for i := range r {
		f := float32(i)
		r[i] *= r0 + f*dr
		g[i] *= g0 + f*dg
		b[i] *= b0 + f*db
	}
}

// scaleJump multiplies a run of pixels by the gains of the nodes they resemble.
func (c *cell) scaleJump(r, g, b []float32, fy float32, s span) {
	g, b = g[:len(r)], b[:len(r)]
	for i := range r {
		k := c.resembling(r[i], g[i], b[i], s.x0+float32(i)*s.dx, fy)
		r[i] *= k[0]
		g[i] *= k[1]
		b[i] *= k[2]
	}
}

// scaleGlass mixes the gains with those of the view outside by coverage.
func (c *cell) scaleGlass(r, g, b, glass []float32, fy float32, s span, out [3]float32) {
	g, b, glass = g[:len(r)], b[:len(r)], glass[:len(r)]
	left, slope := c.ends(fy)
	for i := range r {
		x := s.x0 + float32(i)*s.dx
		k := [3]float32{left[0] + x*slope[0], left[1] + x*slope[1], left[2] + x*slope[2]}
		if c.jump && glass[i] < 1 {
			k = c.resembling(r[i], g[i], b[i], x, fy)
		}
		w := glass[i]
		r[i] *= k[0] + w*(out[0]-k[0])
		g[i] *= k[1] + w*(out[1]-k[1])
		b[i] *= k[2] + w*(out[2]-k[2])
	}
}

// resembling weighs the four nodes' gains by nearness in place and in colour.
func (c *cell) resembling(r, g, b, x, y float32) (k [3]float32) {
	place := [4]float32{(1 - x) * (1 - y), x * (1 - y), (1 - x) * y, x * y}
	var sum float32
	for i, n := range c.n {
		w := (place[i] + 0.01) / (0.003 + unlike(r, n.guide[0]) + unlike(g, n.guide[1]) + unlike(b, n.guide[2]))
		sum += w
		k[0] += w * n.gain[0]
		k[1] += w * n.gain[1]
		k[2] += w * n.gain[2]
	}
	k[0] /= sum
	k[1] /= sum
	k[2] /= sum
	return k
}

// unlike is the fourth power of the relative difference of two amounts of light:
// 0 for equal ones, near 1 for very different ones.
func unlike(a, b float32) float32 {
	s := a + b
	if !(s > 1e-9) {
		return 0
	}
	d := (a - b) / s
	d *= d
	return d * d * 10
}
