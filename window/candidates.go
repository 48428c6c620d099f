package window

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// group is a candidate: one bright region, or several panes parted by bars.
type group struct {
	pix            []int32 // indices into the reduced picture
	x0, y0, x1, y1 int

	share    float64 // of the picture
	level    float64 // median EV above the room
	spread   float64 // EV between its 10th and 90th percentile
	texture  float64 // median absolute local contrast inside, EV
	step     float64 // median step at its boundary, EV
	upright  float64 // part of the boundary within 12 degrees of vertical
	straight float64 // part of the boundary that runs straight
	warmth   float64 // log2(red/blue) above the room's
	solid    float64 // area over the area of its convex hull
	round    float64 // 4 pi area / perimeter^2: 1 for a disc
	rims     int     // how many sides of the picture it touches
	tall     bool    // it touches both top and bottom
	clipped  float64 // part of which nothing was recorded

	cut   float32 // log2 luminance above which its pixels lie
	inner bool    // a brighter part of a region that is no window
	frame *frame  // its edges at full size; nil when not looked for
}

const (
	brightEV = 2.2 // a candidate lies this far above the room
	bridge   = 3   // glazing bars up to twice this wide join their panes
)

// candidates returns the bright regions of the picture, measured, largest first.
func (s *scene) candidates(ctx context.Context) ([]*group, error) {
	hot := make([]bool, s.w*s.h)
	s.findLamps()
	for i, l := range s.log.Pix {
		hot[i] = float64(l) > s.room+brightEV && !s.lamp[i]
	}
	// A glow around a region belongs to the room: within each region keep what is
	// above half its own height.
	cuts := make([]float32, s.w*s.h)
	for _, c := range components(hot, hot, s.w, s.h) {
		v := make([]float32, len(c))
		for k, i := range c {
			v[k] = s.log.Pix[i]
		}
		cut := float32(s.room + max(brightEV, (quantile(v, 0.6)-s.room)*0.5))
		for _, i := range c {
			hot[i], cuts[i] = s.log.Pix[i] > cut, cut
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	joined := dilate(hot, s.w, s.h, bridge)
	var groups []*group
	for _, c := range components(joined, hot, s.w, s.h) {
		for _, g := range s.split(c, 0) {
			g.cut = cuts[g.pix[0]]
			groups = append(groups, g)
		}
	}
	sortBySize(groups)
	return groups, ctx.Err()
}

const (
	raise     = 0.7   // EV between one cut through a region and the next
	deepShare = 0.005 // of the picture: what is cut out of a region is no smaller
)

// brighter are the parts of a region that stand out of it one cut higher. In a room with
// white walls in the sun, or dark furniture, window and wall are one region at first.
func (s *scene) brighter(g *group) []*group {
	b := boxOf(g.pix, s.w, bridge)
	hot := make([]bool, b.w*b.h)
	cut := g.cut + raise
	for _, i := range g.pix {
		hot[b.in(i)] = s.log.Pix[i] > cut
	}
	var out []*group
	for _, c := range components(dilate(hot, b.w, b.h, bridge), hot, b.w, b.h) {
		if float64(len(c)) < deepShare/2*float64(s.w*s.h) {
			continue
		}
		for k, i := range c {
			c[k] = b.out(i)
		}
		for _, p := range s.split(c, 0) {
			p.cut, p.inner = cut, true
			out = append(out, p)
		}
	}
	return out
}

// split measures a region; one that is far from convex is cut at its necks first,
// as when sun lies on the sill and the floor below a window.
func (s *scene) split(pix []int32, depth int) []*group {
	if len(pix) < 12 {
		return nil
	}
	g := &group{pix: pix}
	s.measure(g)
	if g.solid > 0.7 || depth == 3 {
		return []*group{g}
	}
	for r := 2; r <= 6; r++ {
		parts := cutNecks(pix, s.w, r)
		if len(parts) < 2 {
			continue
		}
		var out []*group
		for _, p := range parts {
			out = append(out, s.split(p, depth+1)...)
		}
		return out
	}
	return []*group{g}
}

func (s *scene) measure(g *group) {
	in := make([]bool, s.w*s.h)
	g.x0, g.y0 = s.w, s.h
	var levels, warm []float32
	var clipped float64
	for _, i := range g.pix {
		in[i] = true
		x, y := int(i)%s.w, int(i)/s.w
		g.x0, g.y0 = min(g.x0, x), min(g.y0, y)
		g.x1, g.y1 = max(g.x1, x+1), max(g.y1, y+1)
		levels = append(levels, s.log.Pix[i])
		warm = append(warm, s.warm.Pix[i])
		if s.lost != nil {
			clipped += float64(s.lost.Pix[i])
		} else if float64(s.log.Pix[i]) > s.top-0.02 {
			clipped++
		}
	}
	for _, on := range [4]bool{g.x0 == 0, g.y0 == 0, g.x1 == s.w, g.y1 == s.h} {
		if on {
			g.rims++
		}
	}
	g.tall = g.y0 == 0 && g.y1 == s.h
	n := float64(len(g.pix))
	g.share = n / float64(s.w*s.h)
	g.level = median(levels) - s.room
	g.spread = quantile(levels, 0.9) - quantile(levels, 0.1)
	g.warmth = median(warm) - s.tint
	g.clipped = clipped / n
	g.texture = s.texture(g, in)
	s.measureBoundary(g, in)
	g.solid = n / max(n, hullArea(g.pix, s.w))
}

// texture is the median absolute difference between a pixel and its neighbours
// two pixels away, over pixels whose neighbours are inside too.
func (s *scene) texture(g *group, in []bool) float64 {
	const d = 2
	var v []float32
	for _, i := range g.pix {
		x, y := int(i)%s.w, int(i)/s.w
		if x < d || y < d || x >= s.w-d || y >= s.h-d {
			continue
		}
		a, b, c, e := int(i)-d, int(i)+d, int(i)-d*s.w, int(i)+d*s.w
		if !in[a] || !in[b] || !in[c] || !in[e] {
			continue
		}
		l := s.log.Pix
		v = append(v, float32(math.Abs(float64(l[i]-(l[a]+l[b]+l[c]+l[e])/4))))
	}
	return quantile(v, 0.75)
}

// measureBoundary looks at the direction of the region's edge, from the gradient
// of its slightly blurred mask, and at the step in brightness across it.
func (s *scene) measureBoundary(g *group, in []bool) {
	pad := 6
	x0, y0 := g.x0-pad, g.y0-pad
	w, h := g.x1-g.x0+2*pad, g.y1-g.y0+2*pad
	m := raster.New(w, h)
	for _, i := range g.pix {
		m.Pix[(int(i)/s.w-y0)*w+int(i)%s.w-x0] = 1
	}
	// Close the gaps of glazing bars: only the outer edge counts.
	closed := closeGaps(m, bridge)
	soft := raster.New(w, h)
	_ = raster.Gauss(context.Background(), soft, closed, 1.6)
	// Glare blurs the edge of a large window: look further across it.
	reach := 2 + min(4, math.Sqrt(float64(len(g.pix)))/60)
	var steps []float32
	var bins [18]float64
	var edge, upright, perimeter float64
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			i := y*w + x
			if closed.Pix[i] == 0 || closed.Pix[i-1]+closed.Pix[i+1]+closed.Pix[i-w]+closed.Pix[i+w] == 4 {
				continue
			}
			X, Y := x+x0, y+y0
			if X < 2 || Y < 2 || X >= s.w-2 || Y >= s.h-2 {
				continue // the picture's own edge says nothing
			}
			gx := float64(soft.Pix[i+1] - soft.Pix[i-1])
			gy := float64(soft.Pix[i+w] - soft.Pix[i-w])
			a := math.Atan2(gy, gx)
			edge++
			perimeter += 1 / max(0.5, max(math.Abs(math.Cos(a)), math.Abs(math.Sin(a))))
			tilt := math.Abs(math.Mod(a+2*math.Pi, math.Pi))
			if tilt < 12*math.Pi/180 || tilt > 168*math.Pi/180 {
				upright++
			}
			bins[int(tilt/math.Pi*17.999)]++
			cx, cy := math.Cos(a), math.Sin(a)
			inside := s.log.At(X+int(math.Round(reach*cx)), Y+int(math.Round(reach*cy)))
			outside := s.log.At(X-int(math.Round((reach+1)*cx)), Y-int(math.Round((reach+1)*cy)))
			steps = append(steps, inside-outside)
		}
	}
	if edge == 0 {
		return
	}
	g.step = quantile(steps, 0.4)
	g.upright = upright / edge
	var first, second float64
	for i := range bins { // the two strongest directions, 20 degrees wide each
		b := bins[i] + bins[(i+1)%18]
		if b > first {
			first = b
		}
	}
	for i := range bins {
		b := bins[i] + bins[(i+1)%18]
		if b > second && b < first {
			second = b
		}
	}
	g.straight = min(1, (first+second)/edge)
	var area float64
	for _, v := range closed.Pix {
		area += float64(v)
	}
	g.round = 4 * math.Pi * area / (perimeter * perimeter)
}
