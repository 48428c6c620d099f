package lines

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// refineAll measures the segments again on the unscaled plane, in parallel.
func refineAll(ctx context.Context, p *raster.Plane, all []Segment) ([]Segment, error) {
	err := raster.BandsOf(ctx, len(all), 64, func(a, b int) {
		var r refiner
		for i := a; i < b; i++ {
			r.refine(p, &all[i])
		}
	})
	return all, err
}

// refiner fits an edge through cuts across a segment. s runs along the segment
// from its middle, t across it to the right, both in pixels.
type refiner struct {
	s, t, w, v []float64 // cut position, edge position, edge strength, robust weight
}

// refine moves the end points of g onto the edge. It cuts the edge every pixel or
// so, takes the gradient-weighted mean position in each cut, and fits
// t = a + b s (and, for the bend, t = a + b s + c s^2) by reweighted least
// squares. A narrower second pass keeps neighbouring edges out.
func (r *refiner) refine(p *raster.Plane, g *Segment) {
	for _, reach := range [2]int{3, 2} {
		if !r.cuts(p, g, reach) {
			return
		}
		if !r.fit(g) {
			return
		}
	}
}

// cuts measures the edge in every cut; false when too few are any good.
func (r *refiner) cuts(p *raster.Plane, g *Segment, reach int) bool {
	r.s, r.t, r.w = r.s[:0], r.t[:0], r.w[:0]
	l := g.Length()
	n := min(int(l), 400)
	if n < 5 {
		return false
	}
	dx, dy := (g.X2-g.X1)/l, (g.Y2-g.Y1)/l
	cx, cy := (g.X1+g.X2)/2, (g.Y1+g.Y2)/2
	for i := range n {
		s := ((float64(i)+0.5)/float64(n) - 0.5) * l
		x, y := cx+s*dx, cy+s*dy
		// Values at t = -reach-0.5 ... reach+0.5 give steps at -reach ... reach.
		before, ok := sample(p, x+(float64(reach)+0.5)*dy, y-(float64(reach)+0.5)*dx)
		if !ok {
			continue
		}
		var sum, moment float64
		for j := -reach; j <= reach; j++ {
			t := float64(j) + 0.5
			v, in := sample(p, x-t*dy, y+t*dx)
			if !in {
				sum = 0
				break
			}
			if d := v - before; d > 0 { // bright to the right
				sum += d
				moment += d * float64(j)
			}
			before = v
		}
		if sum > 0 {
			r.s, r.t, r.w = append(r.s, s), append(r.t, moment/sum), append(r.w, sum)
		}
	}
	return len(r.s) >= 5
}

// sample interpolates p at (x, y), pixel centres at +0.5; false outside.
func sample(p *raster.Plane, x, y float64) (float64, bool) {
	x -= 0.5
	y -= 0.5
	if !(x >= 0 && y >= 0 && x < float64(p.W-1) && y < float64(p.H-1)) {
		return 0, false
	}
	ix, iy := int(x), int(y)
	fx, fy := x-float64(ix), y-float64(iy)
	o := iy*p.Stride + ix
	a, b := p.Pix[o:o+2], p.Pix[o+p.Stride:o+p.Stride+2]
	top := float64(a[0]) + fx*float64(a[1]-a[0])
	bot := float64(b[0]) + fx*float64(b[1]-b[0])
	return top + fy*(bot-top), true
}

// fit moves g onto the line through the cuts and sets its standard errors.
func (r *refiner) fit(g *Segment) bool {
	mean := 0.0
	for _, w := range r.w {
		mean += w / float64(len(r.w))
	}
	r.v = r.v[:0]
	for _, w := range r.w {
		r.v = append(r.v, min(w/mean, 1)) // a highlight is no better an edge
	}
	var f line
	scale := 1.0
	for pass := range 4 {
		f = fitLine(r.s, r.t, r.v)
		if f.n < 4 {
			return false
		}
		scale = max(0.05, f.rms)
		if pass == 3 {
			break
		}
		for i, w := range r.w {
			e := (r.t[i] - f.at(r.s[i])) / (2.5 * scale)
			r.v[i] = min(w/mean, 1) * max(0, 1-e*e) * max(0, 1-e*e)
		}
	}
	if math.Abs(f.a) > 2 || math.Abs(f.b) > 0.1 {
		return false // it found another edge
	}
	l := g.Length()
	dx, dy := (g.X2-g.X1)/l, (g.Y2-g.Y1)/l
	t1, t2 := f.at(-l/2), f.at(l/2)
	g.X1, g.Y1 = g.X1-t1*dy, g.Y1+t1*dx
	g.X2, g.Y2 = g.X2-t2*dy, g.Y2+t2*dx
	// Neighbouring cuts share pixels: about two cuts make one measurement.
	g.Sigma = math.Sqrt2 * max(0.03, f.rms) / math.Sqrt(f.ss)
	g.Bend, g.BendSigma = bend(r.s, r.t, r.v, l, f)
	return true
}

// line is t = a + b s with the weighted spread of s about its mean.
type line struct{ a, b, rms, ss, n float64 }

func (f line) at(s float64) float64 { return f.a + f.b*s }

func fitLine(s, t, w []float64) line {
	var n, ms, mt float64
	for i := range s {
		n += w[i]
		ms += w[i] * s[i]
		mt += w[i] * t[i]
	}
	ms, mt = ms/n, mt/n
	var ss, st float64
	for i := range s {
		ss += w[i] * (s[i] - ms) * (s[i] - ms)
		st += w[i] * (s[i] - ms) * (t[i] - mt)
	}
	f := line{b: st / ss, ss: ss, n: n}
	f.a = mt - f.b*ms
	var sq float64
	for i := range s {
		e := t[i] - f.at(s[i])
		sq += w[i] * e * e
	}
	f.rms = math.Sqrt(sq / n)
	if math.IsNaN(f.b) || math.IsInf(f.b, 0) {
		return line{}
	}
	return f
}

// bend fits the residuals of the line with the part of s^2 that a line can't
// explain, and returns the sagitta over the length l and its standard error.
func bend(s, t, w []float64, l float64, f line) (sag, sigma float64) {
	var n, m1, m2, m3, m4, q float64
	for i := range s {
		x := s[i]
		n += w[i]
		m1 += w[i] * x
		m2 += w[i] * x * x
		m3 += w[i] * x * x * x
	}
	m1, m2, m3 = m1/n, m2/n, m3/n
	// z = s^2 - (u + v s) with z orthogonal to 1 and s.
	v := (m3 - m1*m2) / (m2 - m1*m1)
	u := m2 - v*m1
	var sq float64
	for i := range s {
		z := s[i]*s[i] - u - v*s[i]
		e := t[i] - f.at(s[i])
		q += w[i] * z * e
		m4 += w[i] * z * z
		sq += w[i] * e * e
	}
	if !(m4 > 0) {
		return 0, 0
	}
	c := q / m4
	rest := max(0.03*0.03, (sq-c*q)/n)
	return -c * l * l / 4, math.Sqrt(2*rest/m4) * l * l / 4
}
