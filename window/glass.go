package window

import (
	"slices"

	"mullion/internal/raster"
)

// Where the glass ends. Sills, reveals and sashes in daylight are nearly as bright as
// what is beyond the glass, so one level does not part them from it. What does is that
// they are strips: between two straight edges that run along the whole side, smooth
// along it, without the green of plants, and thin. The innermost edge that has only such
// strips outside is where the glass begins. A bar is such strips, darker than the view
// on both sides of them, across the whole window.
const (
	smooth   = 0.30 // EV along the side; leaves and shadows have more, and no straight edge beside them
	notGreen = 0.45 // EV above the mean of red and blue: foliage and lawn have 0.5 and more
	thin     = 4    // samples: too narrow to be judged

	// The widest strip at a side, parts of the window's longer dimension: of a sash as
	// bright as the view, of head and sill, and of a reveal two stops below the view.
	sashPart   = 0.06
	revealPart = 0.28

	barPart  = 0.10 // of the window: the widest bar
	barDark  = 1.2  // EV: its darkest face below the view
	faceDark = 0.6  // EV: every face of it below the view
	barDeep  = 0.3  // of the way from the view down to the room
	thinDark = 0.8  // EV: a bar so narrow that view and bar share its pixels
)

func (s strip) isFrame() bool {
	if s.wide <= thin {
		return s.rough < 2*smooth
	}
	return s.rough < smooth && s.green < notGreen
}

// isSash says whether a strip at the side of a window of long samples, whose median level
// is view, is no pane of it: the brighter the narrower, and about as wide at one end as at
// the other. A roof or a hill beyond the glass is a wedge. deep is how wide, in parts of
// long, the darkest may be.
func (s strip) isSash(view, long, deep float64) bool {
	most := long * (sashPart + (deep-sashPart)*ramp(view-s.level, 0.5, 2))
	return s.isFrame() && float64(s.wide) <= max(most, thin) && s.wide-s.narrow <= 2+s.wide/2
}

// glassEdge returns the innermost edge with nothing but frame outside of it and a place
// brighter than bright inside. view is the window's median level, both log2 luminance,
// long its longer dimension in samples, deep how much of that a reveal may take, before
// what the rays begin outside.
func (r *rays) glassEdge(view, bright, long, deep, before float64) (edge line, ok bool) {
	edges := append(r.edges(r.depth/3), line{k0: r.depth - 1, k1: r.depth - 1})
	var from line
	for i, e := range edges[:len(edges)-1] {
		p := r.strip(from, e)
		outside := float64(max(e.k0, e.k1)) <= before+thin
		wall := p.isFrame() && p.level < bright // no brighter than the room
		if !outside && !wall && !p.isSash(view, long, deep) {
			break
		}
		if i > 0 && !wall {
			if f, found := r.faint(from, e); found {
				return f, true
			}
		}
		if r.strip(e, edges[i+1]).level > bright {
			edge, ok = e, true
		}
		from = e
	}
	return edge, ok
}

// bar is a strip without glass, from one position to another along the rays, at both
// ends of the side.
type bar struct{ from, to [2]float64 }

// bars returns the bars between two sides of a window. room is the room's level.
func (r *rays) bars(turn int, room float64) []bar {
	all := append([]line{{}}, append(r.edges(turn), line{k0: r.depth - 1, k1: r.depth - 1})...)
	parts := make([]strip, len(all)-1) // parts[i] lies between all[i] and all[i+1]
	for i := range parts {
		parts[i] = r.strip(all[i], all[i+1])
	}
	var out []bar
	for i := 1; i < len(parts)-1; i++ {
		wide, low, high, last := 0, parts[i].level, parts[i].level, 0
		for j := i; j < len(parts)-1; j++ {
			p := parts[j]
			wide, low, high = wide+p.wide, min(low, p.level), max(high, p.level)
			if !p.isFrame() || float64(wide) > barPart*float64(r.depth) {
				break
			}
			if view := min(parts[i-1].level, parts[j+1].level); isBar(low, view, room) && high < view-faceDark {
				last = j
			}
		}
		if last > 0 {
			var b bar
			b.from[0], b.from[1] = r.refine(all[i])
			b.to[0], b.to[1] = r.refine(all[last+1])
			out = append(out, b)
			i = last
		}
	}
	for _, b := range r.thinBars(turn, room) {
		if !slices.ContainsFunc(out, b.overlaps) {
			out = append(out, b)
		}
	}
	return out
}

// isBar says whether a level is that of a bar before a view: the room lights it, so it
// lies well on the way from the view down to the room.
func isBar(level, view, room float64) bool {
	return level < view-barDark && level < view-barDeep*(view-room)
}

func (b bar) overlaps(o bar) bool {
	return b.from[0] < o.to[0] && o.from[0] < b.to[0] || b.from[1] < o.to[1] && o.from[1] < b.to[1]
}

// thinBars returns the bars too narrow for an edge on both sides.
func (r *rays) thinBars(turn int, room float64) []bar {
	var out []bar
	for _, l := range r.lines(turn, thinDark, r.ridgeAt) {
		var before, after, green, level, view []float32
		for s := range r.n {
			t := l.at(r.share[s])
			row := r.log[s*r.depth : (s+1)*r.depth]
			k := int(t + 0.5)
			for _, j := range [2]int{k - 1, k + 1} { // the darkest of three
				if j >= 0 && j < r.depth && row[j] < row[k] {
					k = j
				}
			}
			deep := r.ridgeAt(s, k)
			if deep < thinDark || r.void != nil && r.void[s*r.depth+k] {
				continue
			}
			// Half of the light, not of the stops, is at the bar's edge.
			half := row[k] + log2((1+raster.Exp2(deep))/2)
			before = append(before, float32(crossing(row, k, -1, half)-t))
			after = append(after, float32(crossing(row, k, 1, half)-t))
			level, view = append(level, row[k]), append(view, row[k]+deep)
			green = append(green, r.green[s*r.depth+k])
		}
		if median(green) > notGreen || !isBar(median(level), median(view), room) {
			continue
		}
		d0, d1 := median(before), median(after)
		out = append(out, bar{
			from: [2]float64{float64(l.k0) + d0, float64(l.k1) + d0},
			to:   [2]float64{float64(l.k0) + d1, float64(l.k1) + d1},
		})
	}
	return out
}

// crossing is where a row rises to a level, walking from k by step; at most ridgeReach
// away.
func crossing(row []float32, k, step int, level float32) float64 {
	for j := k; j != k+step*ridgeReach; j += step {
		if a, b := row[j], row[j+step]; b >= level {
			return float64(j) + float64(step)*float64((level-a)/max(b-a, 1e-6))
		}
	}
	return float64(k + step*ridgeReach)
}

// cut is where there is no glass: between the line from a to b, with glass to its right,
// and the line from c to d to its left.
type cut struct {
	a, b, c, d vec
	over       float64 // how far it goes on beyond both ends, parts of its length
	soft       float64 // the width of its edges, pixels
}

// apply takes the coverage away. Pixels on the lines keep the part that is outside. own
// says which places of the picture belong to no other window.
func (c cut) apply(p *raster.Plane, own func(x, y int) bool) {
	d := c.a.to(c.b)
	near, far := c.a.inward(c.b), c.c.inward(c.d)
	e := c.c.to(c.d)
	box := newBounds(c.a.plus(d, -c.over), c.b.plus(d, c.over), c.c.plus(e, -c.over), c.d.plus(e, c.over))
	x0, y0, x1, y1 := box.within(p.W, p.H, 1+c.soft)
	for y := y0; y < y1; y++ {
		row := p.Row(y)
		for x := x0; x < x1; x++ {
			if row[x] == 0 {
				continue
			}
			q := vec{float64(x) + 0.5, float64(y) + 0.5}
			v := c.a.to(q)
			t := v.dot(d) / d.dot(d)
			if t < -c.over || t > 1+c.over {
				continue
			}
			keep := max(v.dot(near), -c.c.to(q).dot(far))/c.soft + 0.5
			if keep < 1 && own(x, y) {
				row[x] = min(row[x], float32(max(0, keep)))
			}
		}
	}
}
