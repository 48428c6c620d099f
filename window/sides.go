package window

import (
	"math"

	"mullion/internal/raster"
)

const (
	// How deep sash and reveal may be, in parts of the window's longer dimension. A
	// window seen from the side shows much of one reveal, and little of head and sill.
	sidePart = 0.3
	headPart = 0.12

	outsidePx = 4    // reduced pixels
	fineEdge  = 1800 // samples along the picture's long side: sashes are a few of them wide
)

// side is one side of a region from a to b, pixels of the picture, the region to its
// right.
type side struct{ a, b vec }

// sides are the long edges of the region's hull, simplified.
func (s *scene) sides(g *group, f float64) []side {
	h := hull(g.pix, s.w)
	for len(h) > 4 {
		least, at := math.Inf(1), 0
		for i := range h {
			a, b, c := h[(i+len(h)-1)%len(h)], h[i], h[(i+1)%len(h)]
			d := math.Abs(float64(cross(a, b, c))) / max(1, math.Hypot(float64(c.x-a.x), float64(c.y-a.y)))
			if d < least {
				least, at = d, i
			}
		}
		if least > 2 {
			break
		}
		h = append(h[:at:at], h[at+1:]...)
	}
	var out []side
	short := max(8, 0.3*float64(min(g.x1-g.x0, g.y1-g.y0))) * f
	for i, p := range h {
		q := h[(i+1)%len(h)]
		e := side{vec{(float64(p.x) + 0.5) * f, (float64(p.y) + 0.5) * f}, vec{(float64(q.x) + 0.5) * f, (float64(q.y) + 0.5) * f}}
		if e.a.to(e.b).length() >= short {
			out = append(out, e)
		}
	}
	return out
}

// frame is what is known of a window's edges at full size.
type frame struct {
	cuts  []cut  // where the glass ends at its sides
	sides []side // all sides, those of the cuts as they are there
	// sure is how much of the outline, the picture's own edge left out, is a straight
	// edge, 0 to 1; ends is on how many of the four hands there is one.
	sure float64
	ends int
}

// frameOf looks for the edges of a window's sides.
func (s *scene) frameOf(img *raster.RGB, g *group) *frame {
	f := float64(img.W()) / float64(s.w)
	step := max(1, float64(max(img.W(), img.H()))/fineEdge)
	long, short := float64(max(g.x1-g.x0, g.y1-g.y0)), float64(min(g.x1-g.x0, g.y1-g.y0))
	out := f * outsidePx
	fr := &frame{sides: s.sides(g, f)}
	var all, found float64
	var hands [4]bool
	for i, e := range fr.sides {
		in := e.a.inward(e.b)
		if e.onRim(img.W(), img.H(), 2*f) {
			continue
		}
		all += e.a.to(e.b).length()
		part, deep := sidePart, revealPart
		if math.Abs(in.y) > math.Abs(in.x) {
			part, deep = headPart, sashPart
		}
		inside := f * min(part*long, 0.6*short)
		r := sample(img, e.a.plus(in, -out), e.b.plus(in, -out), e.a.plus(in, inside), e.b.plus(in, inside), step)
		edge, ok := r.glassEdge(s.room+g.level, s.room+brightEV, long*f/step, deep, out/step)
		if !ok {
			continue
		}
		found += e.a.to(e.b).length()
		for k, dir := range [4]vec{{1, 0}, {0, 1}, {-1, 0}, {0, -1}} {
			hands[k] = hands[k] || in.dot(dir) > 0.7
		}
		a, b := r.place(r.refine(edge))
		wide := out + 2*guideRadius*f + max(0, e.a.to(a).dot(in), e.b.to(b).dot(in))
		fr.cuts = append(fr.cuts, cut{a, b, a.plus(in, -wide), b.plus(in, -wide), 0.04, max(1, f/2.5)})
		fr.sides[i] = side{a, b}
	}
	fr.sure = found / max(1, all)
	for _, h := range hands {
		if h {
			fr.ends++
		}
	}
	return fr
}

// onRim says whether a side is an edge of the picture.
func (e side) onRim(w, h int, near float64) bool {
	both := func(inside func(p vec) bool) bool { return inside(e.a) && inside(e.b) }
	return both(func(p vec) bool { return p.x < near }) || both(func(p vec) bool { return p.x > float64(w)-near }) ||
		both(func(p vec) bool { return p.y < near }) || both(func(p vec) bool { return p.y > float64(h)-near })
}

// bars are the bars before the glass of a window.
func (s *scene) bars(img *raster.RGB, g *group, fr *frame) []cut {
	f := float64(img.W()) / float64(s.w)
	step := max(1, float64(max(img.W(), img.H()))/fineEdge)
	inGlass := s.closed(g, f)
	up, down := levelLines(fr.sides, g, f)
	x0, x1, y0, y1 := float64(g.x0)*f, float64(g.x1)*f, float64(g.y0)*f, float64(g.y1)*f
	var out []cut
	for _, q := range [2][4]vec{
		{{x0, y0}, {x0, y1}, {x1, y0}, {x1, y1}},
		{up.at(x1), up.at(x0), down.at(x1), down.at(x0)},
	} {
		r := sample(img, q[0], q[1], q[2], q[3], step)
		r.only(inGlass)
		for _, b := range r.bars(4+r.depth/12, s.room) {
			out = append(out, r.cutBar(b, f))
		}
	}
	return out
}

// cutBar is a bar as a cut.
func (r *rays) cutBar(b bar, f float64) cut {
	c, d := r.place(b.from[0], b.from[1])
	p, q := r.place(b.to[0], b.to[1])
	if p.inward(q).dot(c.to(p)) < 0 { // the bar must lie to the line's left
		p, q, c, d = q, p, d, c
	}
	return cut{p, q, c, d, 0.1, max(1, f/2.5)}
}

// closed says which places of the picture lie in the region with its bars closed.
func (s *scene) closed(g *group, f float64) func(p vec) bool {
	pad := 2 * bridge
	m := raster.New(g.x1-g.x0+2*pad, g.y1-g.y0+2*pad)
	for _, i := range g.pix {
		m.Row(int(i)/s.w - g.y0 + pad)[int(i)%s.w-g.x0+pad] = 1
	}
	m = closeGaps(m, pad)
	return func(p vec) bool {
		x, y := int(p.x/f)-g.x0+pad, int(p.y/f)-g.y0+pad
		return x >= 0 && y >= 0 && x < m.W && y < m.H && m.Row(y)[x] > 0
	}
}

// levelLines are the upper and the lower end of a window: its sides there, each taken for a
// whole line, or the region's bounds.
func levelLines(sides []side, g *group, f float64) (up, down side) {
	x0, x1, y0, y1 := float64(g.x0)*f, float64(g.x1)*f, float64(g.y0)*f, float64(g.y1)*f
	up, down = side{vec{x0, y0}, vec{x1, y0}}, side{vec{x1, y1}, vec{x0, y1}}
	least := 0.4 * (x1 - x0)
	var a, b float64
	for _, e := range sides {
		in := e.a.inward(e.b)
		long := e.a.to(e.b).length()
		if in.y > 0.75 && long > max(a, least) {
			up, a = e, long
		}
		if in.y < -0.75 && long > max(b, least) {
			down, b = e, long
		}
	}
	return up, down
}

// at is where the side's line stands at x.
func (e side) at(x float64) vec { return e.a.mix(e.b, (x-e.a.x)/(e.b.x-e.a.x)) }
