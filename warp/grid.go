package warp

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// accuracy is the error in source pixels that interpolating the map between grid
// nodes may make.
const accuracy = 0.01

// gainAccuracy is the same for gains, as a share.
const gainAccuracy = 1e-3

// grid is a map sampled at every step-th place of the output: positions of one
// or three channels, and gains.
type grid struct {
	step, cols, rows int
	pos              [3][]point // pos[1] alone when the channels coincide
	gain             []float32  // nil for 1
	w, h             int
}

type point struct{ x, y float64 }

// newGrid samples m at nodes as far apart as its curvature allows.
func newGrid(ctx context.Context, m Map, w, h int) (*grid, error) {
	step := 32
	for step > 4 && curvature(m, w, h, step) > accuracy {
		step /= 2
	}
	g := &grid{step: step, cols: (w+step-1)/step + 1, rows: (h+step-1)/step + 1, w: w, h: h}
	n := g.cols * g.rows
	g.pos[1] = make([]point, n)
	if m.Channel != nil {
		g.pos[0], g.pos[2] = make([]point, n), make([]point, n)
	}
	if m.Gain != nil {
		g.gain = make([]float32, n)
	}
	err := raster.BandsOf(ctx, g.rows, 4, func(j0, j1 int) {
		for j := j0; j < j1; j++ {
			for i := range g.cols {
				k := j*g.cols + i
				x, y := m.At(float64(i*step), float64(j*step))
				g.pos[1][k] = point{x, y}
				if g.gain != nil {
					g.gain[k] = float32(m.Gain(x, y))
				}
				if m.Channel == nil {
					continue
				}
				for c := range 3 {
					cx, cy := m.Channel(c, x, y)
					g.pos[c][k] = point{cx, cy}
				}
			}
		}
	})
	return g, err
}

// curvature is the largest error of bilinear interpolation in a sample of cells,
// gains counted so that theirs matter equally.
func curvature(m Map, w, h, step int) float64 {
	at := func(x, y float64, c int) point {
		sx, sy := m.At(x, y)
		if m.Channel != nil {
			sx, sy = m.Channel(c, sx, sy)
		}
		return point{sx, sy}
	}
	var worst float64
	s := float64(step)
	for j := range 9 {
		for i := range 9 {
			x, y := float64(i)/8*max(0, float64(w)-s), float64(j)/8*max(0, float64(h)-s)
			for c := range 3 {
				if m.Channel == nil && c != 1 {
					continue
				}
				p, q, r, t, mid := at(x, y, c), at(x+s, y, c), at(x, y+s, c), at(x+s, y+s, c), at(x+s/2, y+s/2, c)
				worst = max(worst, math.Hypot((p.x+q.x+r.x+t.x)/4-mid.x, (p.y+q.y+r.y+t.y)/4-mid.y))
				if m.Gain != nil && c == 1 {
					gain := m.Gain(mid.x, mid.y)
					off := (m.Gain(p.x, p.y)+m.Gain(q.x, q.y)+m.Gain(r.x, r.y)+m.Gain(t.x, t.y))/4 - gain
					worst = max(worst, math.Abs(off/gain)*accuracy/gainAccuracy)
				}
			}
		}
	}
	return worst
}

// identity reports whether the grid maps every place to itself with gain 1.
func (g *grid) identity() bool {
	if g.pos[0] != nil {
		return false
	}
	for k, p := range g.pos[1] {
		if math.Abs(p.x-float64(k%g.cols*g.step)) > 1e-6 || math.Abs(p.y-float64(k/g.cols*g.step)) > 1e-6 {
			return false
		}
	}
	for _, v := range g.gain {
		if v != 1 {
			return false
		}
	}
	return true
}

// channel returns the positions of channel c.
func (g *grid) channel(c int) []point {
	if g.pos[0] == nil {
		return g.pos[1]
	}
	return g.pos[c]
}

// bounds returns the extent of the source that a tile of the output sees, and
// how many source pixels, across and down, an output pixel of it covers.
func (g *grid) bounds(c, x, y, w, h int) (x0, y0, x1, y1, scaleX, scaleY float64) {
	i0, j0 := x/g.step, y/g.step
	i1, j1 := (x+w+g.step-1)/g.step, (y+h+g.step-1)/g.step
	p := g.channel(c)
	x0, y0, x1, y1 = math.MaxFloat64, math.MaxFloat64, -math.MaxFloat64, -math.MaxFloat64
	for j := j0; j <= j1; j++ {
		for _, q := range p[j*g.cols+i0 : j*g.cols+i1+1] {
			x0, x1 = min(x0, q.x), max(x1, q.x)
			y0, y1 = min(y0, q.y), max(y1, q.y)
		}
	}
	a, b, d := p[j0*g.cols+i0], p[j0*g.cols+i1], p[j1*g.cols+i0]
	across, down := float64((i1-i0)*g.step), float64((j1-j0)*g.step)
	scaleX = math.Hypot((b.x-a.x)/across, (d.x-a.x)/down)
	scaleY = math.Hypot((b.y-a.y)/across, (d.y-a.y)/down)
	return x0, y0, x1, y1, scaleX, scaleY
}

// row writes the source positions of the pixel centres (x+0.5 ..., y+0.5) of a
// row to xs and ys. x is a multiple of the step.
func (g *grid) row(c, x, y int, xs, ys []float64) {
	p := g.channel(c)
	s := float64(g.step)
	j := y / g.step
	f := (float64(y-j*g.step) + 0.5) / s
	a, b := p[j*g.cols:], p[(j+1)*g.cols:]
	ys = ys[:len(xs)]
	for i := x / g.step; len(xs) > 0; i++ {
		lx, ly := a[i].x+f*(b[i].x-a[i].x), a[i].y+f*(b[i].y-a[i].y)
		rx, ry := a[i+1].x+f*(b[i+1].x-a[i+1].x), a[i+1].y+f*(b[i+1].y-a[i+1].y)
		dx, dy := (rx-lx)/s, (ry-ly)/s
		n := min(g.step, len(xs))
		for k := range n {
			t := float64(k) + 0.5
			xs[k], ys[k] = lx+t*dx, ly+t*dy
		}
		xs, ys = xs[n:], ys[n:]
	}
}

// gains multiplies a row by the gains of its pixels.
func (g *grid) gains(x, y int, out []float32) {
	s := float32(g.step)
	j := y / g.step
	f := (float32(y-j*g.step) + 0.5) / s
	a, b := g.gain[j*g.cols:], g.gain[(j+1)*g.cols:]
	for i := x / g.step; len(out) > 0; i++ {
		l, r := a[i]+f*(b[i]-a[i]), a[i+1]+f*(b[i+1]-a[i+1])
		n := min(g.step, len(out))
		for k := range n {
			out[k] *= l + (r-l)*(float32(k)+0.5)/s
		}
		out = out[n:]
	}
}
