package lines

import (
	"context"
	"math"
)

// grower turns a field of level-line directions into rectangles. Its buffers are
// reused from region to region.
type grower struct {
	*field
	used   []bool
	region []int32 // pixels of the region being looked at
	tests  float64 // log10 of the number of rectangles that could be tested
}

func newGrower(f *field) *grower {
	return &grower{
		field: f,
		used:  make([]bool, len(f.mag)),
		// (WH)^(5/2) rectangles, times 11 precisions tried.
		tests: 2.5*(math.Log10(float64(f.w))+math.Log10(float64(f.h))) + math.Log10(11),
	}
}

// segments looks at every seed. Coordinates are of the field's grid, whole
// numbers on the gradients.
func (g *grower) segments(ctx context.Context) ([]Segment, error) {
	const p = angleTolerance / math.Pi
	smallest := int(-g.tests / math.Log10(p))
	var out []Segment
	for i, seed := range g.seeds() {
		if i&0xfff == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if g.used[seed] {
			continue
		}
		dir := g.grow(seed, math.Cos(angleTolerance))
		if len(g.region) < smallest {
			continue
		}
		r := g.rectangle(dir, angleTolerance)
		if !g.densify(&r) {
			continue
		}
		strength := g.improve(&r)
		if strength <= 0 {
			continue
		}
		out = append(out, Segment{X1: r.x1, Y1: r.y1, X2: r.x2, Y2: r.y2, Width: r.width, Strength: strength})
	}
	return out, ctx.Err()
}

// grow collects the connected pixels whose direction agrees with the region's
// running mean, and returns that mean.
func (g *grower) grow(seed int32, cosTol float64) vec {
	g.region = append(g.region[:0], seed)
	g.used[seed] = true
	sx, sy := g.dir[seed].x, g.dir[seed].y
	tol := float32(cosTol)
	limit := tol * float32(math.Hypot(float64(sx), float64(sy)))
	w, h := int32(g.w), int32(g.h)
	for i := 0; i < len(g.region); i++ {
		at := g.region[i]
		px, py := at%w, at/w
		for y := max(py-1, 0); y <= py+1 && y < h; y++ {
			for x := max(px-1, 0); x <= px+1 && x < w; x++ {
				j := y*w + x
				d := g.dir[j]
				if g.used[j] || d.x*sx+d.y*sy < limit || d == (vec{}) {
					continue
				}
				g.used[j] = true
				g.region = append(g.region, j)
				sx += d.x
				sy += d.y
				limit = tol * float32(math.Sqrt(float64(sx*sx+sy*sy)))
			}
		}
	}
	n := float32(math.Sqrt(float64(sx*sx + sy*sy)))
	return vec{sx / n, sy / n}
}

// rectangle lays the rectangle of the gradient-weighted moments around the
// region. dir tells its two ends apart, tol is the angle tolerance it carries.
func (g *grower) rectangle(dir vec, tol float64) rect {
	w := int32(g.w)
	var cx, cy, sum float64
	for _, j := range g.region {
		m := float64(g.mag[j])
		cx += m * float64(j%w)
		cy += m * float64(j/w)
		sum += m
	}
	cx, cy = cx/sum, cy/sum
	var xx, yy, xy float64
	for _, j := range g.region {
		m := float64(g.mag[j])
		dx, dy := float64(j%w)-cx, float64(j/w)-cy
		xx += m * dx * dx
		yy += m * dy * dy
		xy += m * dx * dy
	}
	theta := math.Atan2(2*xy, xx-yy) / 2
	dx, dy := math.Cos(theta), math.Sin(theta)
	if dx*float64(dir.x)+dy*float64(dir.y) < 0 {
		dx, dy = -dx, -dy
	}
	var lo, hi, left, right float64
	for _, j := range g.region {
		px, py := float64(j%w)-cx, float64(j/w)-cy
		a, c := px*dx+py*dy, py*dx-px*dy
		lo, hi = min(lo, a), max(hi, a)
		left, right = min(left, c), max(right, c)
	}
	return rect{
		x1: cx + lo*dx, y1: cy + lo*dy, x2: cx + hi*dx, y2: cy + hi*dy,
		dx: dx, dy: dy, width: max(1, right-left), tol: tol,
	}
}

// densify makes sure that aligned pixels fill the rectangle: a region that ran
// round a corner is grown again with a tighter tolerance, then cut shorter. It
// returns false when nothing dense is left.
func (g *grower) densify(r *rect) bool {
	if g.density(*r) >= densityLimit {
		return true
	}
	seed := g.region[0]
	tol := 2 * g.spread(seed, r.width)
	for _, j := range g.region {
		g.used[j] = false
	}
	dir := g.grow(seed, math.Cos(min(tol, math.Pi/2)))
	if len(g.region) < 2 {
		return false
	}
	*r = g.rectangle(dir, angleTolerance)
	w := int32(g.w)
	sx, sy := float64(seed%w), float64(seed/w)
	radius := max(math.Hypot(sx-r.x1, sy-r.y1), math.Hypot(sx-r.x2, sy-r.y2))
	for g.density(*r) < densityLimit {
		radius *= 0.75
		kept := g.region[:0]
		for _, j := range g.region {
			if math.Hypot(float64(j%w)-sx, float64(j/w)-sy) <= radius {
				kept = append(kept, j)
			} else {
				g.used[j] = false
			}
		}
		g.region = kept
		if len(kept) < 2 {
			return false
		}
		*r = g.rectangle(dir, angleTolerance)
	}
	return true
}

func (g *grower) density(r rect) float64 {
	return float64(len(g.region)) / (r.length() * r.width)
}

// spread is the standard deviation of the directions near the seed, in radians.
func (g *grower) spread(seed int32, near float64) float64 {
	w := int32(g.w)
	s := g.dir[seed]
	sx, sy := float64(seed%w), float64(seed/w)
	var n, sum, sq float64
	for _, j := range g.region {
		if math.Hypot(float64(j%w)-sx, float64(j/w)-sy) >= near {
			continue
		}
		d := g.dir[j]
		a := math.Atan2(float64(s.x*d.y-s.y*d.x), float64(s.x*d.x+s.y*d.y))
		n++
		sum += a
		sq += a * a
	}
	// About the seed's own direction, as the paper has it.
	mean := sum / n
	return math.Sqrt(max(0, (sq-2*mean*sum)/n+mean*mean))
}
