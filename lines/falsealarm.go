package lines

import "math"

// rect is a rectangle from (x1,y1) to (x2,y2) with unit direction (dx,dy).
// A pixel is aligned with it when its direction is within tol radians.
type rect struct {
	x1, y1, x2, y2 float64
	dx, dy         float64
	width          float64
	tol            float64
}

func (r rect) length() float64 { return math.Hypot(r.x2-r.x1, r.y2-r.y1) }

// shift moves the rectangle across its direction.
func (r *rect) shift(d float64) {
	r.x1, r.x2 = r.x1-d*r.dy, r.x2-d*r.dy
	r.y1, r.y2 = r.y1+d*r.dx, r.y2+d*r.dx
}

// improve looks for the variant of r that is hardest to explain by chance: finer
// directions, a narrower rectangle, one side cut, the other side cut, finer
// again. It returns -log10 of the number of false alarms of the best.
func (g *grower) improve(r *rect) float64 {
	best := g.strength(*r)
	try := func(step func(*rect) bool) bool {
		if best > 0 {
			return true
		}
		c := *r
		for range 5 {
			if !step(&c) {
				break
			}
			if s := g.strength(c); s > best {
				best, *r = s, c
			}
		}
		return best > 0
	}
	finer := func(c *rect) bool { c.tol /= 2; return true }
	cut := func(side float64) func(*rect) bool {
		return func(c *rect) bool {
			if c.width < 1 { // at least half a pixel must be left
				return false
			}
			c.shift(side / 4)
			c.width -= 0.5
			return true
		}
	}
	_ = try(finer) || try(cut(0)) || try(cut(1)) || try(cut(-1)) || try(finer)
	return best
}

// strength is -log10(NFA): the number of tests times the chance that at least as
// many pixels of the rectangle are aligned when directions are uniform and
// independent.
func (g *grower) strength(r rect) float64 {
	n, k := g.count(r)
	return -g.tests - log10Tail(n, k, r.tol/math.Pi)
}

// count returns the pixels inside r and how many of them are aligned.
func (g *grower) count(r rect) (n, k int) {
	cosTol := float32(math.Cos(r.tol))
	dx, dy := float32(r.dx), float32(r.dy)
	half, l := r.width/2, r.length()
	if math.Abs(r.dx) > math.Abs(r.dy) {
		// Column by column; across must not exceed half, along must stay in [0, l].
		ex := math.Abs(r.dy) * half
		for x := max(0, int(math.Ceil(min(r.x1, r.x2)-ex))); x <= min(g.w-1, int(math.Floor(max(r.x1, r.x2)+ex))); x++ {
			lo, hi := span(float64(x)-r.x1, r.dx, r.dy, half, l)
			for y := max(0, int(math.Ceil(lo+r.y1))); y <= min(g.h-1, int(math.Floor(hi+r.y1))); y++ {
				d := g.dir[y*g.w+x]
				n++
				if d.x*dx+d.y*dy >= cosTol {
					k++
				}
			}
		}
		return n, k
	}
	ey := math.Abs(r.dx) * half
	for y := max(0, int(math.Ceil(min(r.y1, r.y2)-ey))); y <= min(g.h-1, int(math.Floor(max(r.y1, r.y2)+ey))); y++ {
		lo, hi := span(float64(y)-r.y1, r.dy, r.dx, half, l)
		row := g.dir[y*g.w : (y+1)*g.w]
		for x := max(0, int(math.Ceil(lo+r.x1))); x <= min(g.w-1, int(math.Floor(hi+r.x1))); x++ {
			d := row[x]
			n++
			if d.x*dx+d.y*dy >= cosTol {
				k++
			}
		}
	}
	return n, k
}

// span solves for the second coordinate v, given the first u, both from the
// rectangle's start: |v*major - u*minor| <= half and 0 <= u*major + v*minor <= l,
// where major is the direction's larger component.
func span(u, major, minor, half, l float64) (lo, hi float64) {
	c := u * minor / major
	e := half / math.Abs(major)
	lo, hi = c-e, c+e
	if math.Abs(minor) < 1e-9 {
		return lo, hi
	}
	a, b := -u*major/minor, (l-u*major)/minor
	return max(lo, min(a, b)), min(hi, max(a, b))
}

// logGamma holds ln(n!) shifted by one: logGamma[n] = ln((n-1)!).
var logGamma = func() []float64 {
	t := make([]float64, 4096)
	for n := 2; n < len(t); n++ {
		t[n] = t[n-1] + math.Log(float64(n-1))
	}
	return t
}()

func lnGamma(n int) float64 {
	if n < len(logGamma) {
		return logGamma[n]
	}
	v, _ := math.Lgamma(float64(n))
	return v
}

// log10Tail is log10 of the probability of k or more successes in n trials of
// chance p, summed until the rest can't change the logarithm by 10 %.
func log10Tail(n, k int, p float64) float64 {
	if n == 0 || k == 0 {
		return 0
	}
	if k == n {
		return float64(n) * math.Log10(p)
	}
	first := lnGamma(n+1) - lnGamma(k+1) - lnGamma(n-k+1) +
		float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p)
	// Sum relative to the first term, so that nothing underflows.
	term, sum := 1.0, 1.0
	odds := p / (1 - p)
	for i := k + 1; i <= n; i++ {
		ratio := float64(n-i+1) / float64(i) * odds
		term *= ratio
		sum += term
		if ratio < 1 && term*ratio/(1-ratio) < 0.02*sum {
			break
		}
	}
	return min(0, (first+math.Log(sum))/math.Ln10)
}
