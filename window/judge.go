package window

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// The marks of a window, as bounds on what measure found. They were set wide,
// from how windows and lamps are built, and checked on rendered and real rooms.
const (
	minShare   = 0.0006 // of the picture; smaller ones are not worth an exposure of their own
	minStep    = 1.6    // EV across the edge: light on a wall fades out instead;
	glareStep  = 1.1    // through glare, where the sides are upright
	veiledStep = 0.7    // the same where the region is large and far brighter than any wall
	maxWarmth  = 0.40   // log2(red/blue) above the room: warmer is a lamp or its shade
	minUpright = 0.10   // of the edge; two upright sides of a window twice as wide as high give 0.3
	minSolid   = 0.40   // of the hull; plants and people may stand in front
)

// isWindow weighs the marks of a candidate.
func (g *group) isWindow() bool {
	sides := ramp(g.upright, 0.15, 0.30) * ramp(g.share, 0.01, 0.05)
	step := minStep - sides*(minStep-glareStep+(glareStep-veiledStep)*ramp(g.level, 3.8, 4.3))
	switch {
	case g.rims > 2 && !g.sideOfGlass():
		return false // half the picture is lit, or the camera stands outside
	case g.share < minShare, g.step < step, g.solid < minSolid, g.warmth > maxWarmth:
		return false
	case g.upright < minUpright:
		return false // slanting sides: sun on the floor, a panel in the ceiling
	case g.round > 0.80 && g.straight < 0.6 && g.share < 0.02:
		return false // a globe or a disc
	}
	if g.straight < 0.65 && g.step < 0.35*g.spread {
		return false // its edge is less than what goes on inside: the border of a light, not of a thing
	}
	if g.outdoors() < 0.9+0.5*ramp(-g.share, -0.01, -0.003) {
		return false
	}
	if g.share > 0.02 {
		return true
	}
	// A small one must show more: straight edges and a picture inside, or the
	// proportions of a pane.
	marks := 0.0
	marks += ramp(g.straight, 0.45, 0.75)
	marks += ramp(g.upright, 0.12, 0.32)
	marks += ramp(g.texture, 0.05, 0.25)
	marks += ramp(g.share, minShare, 0.012)
	marks += ramp(g.level, 2.5, 4.5)
	marks -= ramp(g.warmth, -0.3, maxWarmth)
	return marks > 2
}

// outdoors adds up what says that this is outdoors: much brighter than the room, or a
// picture, or cooler light, or a blank. Sun on a wall and a lit screen have little of any.
func (g *group) outdoors() float64 {
	return ramp(g.level, 3, 5) + ramp(g.texture, 0.05, 0.25) + ramp(-g.warmth, 0, 0.8) + ramp(g.clipped, 0.2, 0.8)
}

// maybeFramed says whether a large region that misses the marks by a little could still
// be a window if its frame is seen.
func (g *group) maybeFramed() bool {
	return g.share > 0.02 && g.share < 0.5 && g.rims < 3 && g.step > veiledStep && g.solid > 0.6 && g.warmth < maxWarmth &&
		g.upright > 0.15 && g.outdoors() > framedOut
}

const (
	sureLeast  = 0.4  // of the outline must be straight edges at full size,
	sureLarge  = 0.7  // of a third of the picture and more, and of a hundredth and less,
	sureInner  = 0.75 // the same for a part of a brighter region,
	solidInner = 0.62
	framedSure = 0.8 // and for one that shows little else of a window
	framedEnds = 3   // on so many of its four hands
	framedOut  = 0.7 // of the marks of being outdoors
)

// accept says whether a candidate is a window, by its marks and its edges at full size.
func (s *scene) accept(img *raster.RGB, g *group) bool {
	likely := g.isWindow()
	if !likely && !g.maybeFramed() || s.isShade(g) {
		return false
	}
	g.frame = s.frameOf(img, g)
	switch {
	case !likely:
		return g.frame.sure >= framedSure && g.frame.ends >= framedEnds ||
			g.frame.sure >= sureLarge && g.frame.ends >= framedEnds-1 && g.outdoors() > 0.9
	case g.inner:
		return g.frame.sure >= sureInner && g.frame.ends >= 2 && g.solid >= solidInner && g.share >= deepShare
	}
	// The larger the more it would spoil; and of small bright things in a room few are windows.
	return g.frame.sure >= sureLeast+(sureLarge-sureLeast)*max(ramp(g.share, 0.12, 0.30), ramp(-g.share, -0.02, -0.01))
}

// windows returns those of the candidates that are windows, in their order, and with
// them the panes that go on where a window's bar ends: of the same width above or below
// it, or of the same height beside it, and as bright. What is none may hold one among
// what is brighter still.
func (s *scene) windows(ctx context.Context, img *raster.RGB, groups []*group) ([]*group, error) {
	var sure, maybe []*group
	rest := slices.Clone(groups)
	for depth := 0; len(rest) > 0 && depth < maxDepth; depth++ {
		var next []*group
		for _, g := range rest {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if s.accept(img, g) {
				sure = append(sure, s.sharper(img, g)...)
				continue
			}
			if g.frame != nil {
				maybe = append(maybe, g)
			}
			if g.share >= deepShare && g.spread > raise {
				next = append(next, s.brighter(g)...)
			}
		}
		rest = next
	}
	others := append(slices.Clone(sure), maybe...)
	sure = s.standing(s.brightest(sure))
	sure = s.standing(s.neighbours(sure, others))
	out := slices.Clone(sure)
	for _, g := range groups {
		if !slices.Contains(sure, g) && slices.ContainsFunc(sure, func(w *group) bool { return g.goesOn(w, max(s.w, s.h)) }) {
			out = append(out, g)
		}
	}
	sortBySize(out)
	return out, nil
}

const maxDepth = 9

// sharper are the parts of a window that stand out of it some cuts higher, if their
// edges are much surer than its own: glare over the wall around it is left behind. Else
// it is the window itself.
func (s *scene) sharper(img *raster.RGB, g *group) []*group {
	best, sure := []*group{g}, g.frame.sure+0.2
	if g.inner || g.frame.sure >= sureInner {
		return best
	}
	level := []*group{g}
	for range 3 {
		var next, good []*group
		var area, weighed float64
		for _, p := range level {
			for _, q := range s.brighter(p) {
				next = append(next, q)
				if s.accept(img, q) {
					good = append(good, q)
					area += q.share
					weighed += q.share * q.frame.sure
				}
			}
		}
		if area > 0.8*g.share && weighed/area >= sure {
			best, sure = good, weighed/area+0.02
		}
		level = next
	}
	return best
}

// brightest leaves those out that were found within a brighter region or by their frame
// alone and than which too much else in the picture is as bright: walls in the sun
// between dark furniture, the sky over a street.
func (s *scene) brightest(found []*group) []*group {
	for {
		owned := make([]bool, s.w*s.h)
		for _, g := range found {
			for _, i := range g.pix {
				owned[i] = true
			}
		}
		near := dilate(owned, s.w, s.h, bridge)
		worst, excess := -1, 1.0
		for k, g := range found {
			if !g.inner && g.isWindow() {
				continue
			}
			least := float32(s.room + g.level - 0.5)
			var in, out float64
			for i, l := range s.log.Pix {
				if l > least && owned[i] {
					in++
				} else if l > least && !near[i] {
					out++
				}
			}
			if out > minOther*float64(s.w*s.h) && out > excess*in {
				worst, excess = k, out/in
			}
		}
		if worst < 0 {
			return found
		}
		found = slices.Delete(found, worst, worst+1)
	}
}

const minOther = 0.02 // of the picture: less is a lamp or the sun on a floor

const (
	paneLevel = 1.2  // EV between panes of one window; a sill in the sun is further below it
	paneAlign = 0.02 // of the long side: how far their ends may be apart
	paneGap   = 0.03 // of the long side: the widest bar between them
)

func (g *group) goesOn(w *group, long int) bool {
	if g.share < minShare || g.step < minStep || g.solid < 0.7 || g.straight < 0.8 || g.warmth > maxWarmth ||
		g.level < 3 || math.Abs(g.level-w.level) > paneLevel {
		return false
	}
	near := func(a, b int, part float64) bool { return math.Abs(float64(a-b)) <= part*float64(long) }
	gap := func(a0, a1, b0, b1 int) bool { return near(a0, b1, paneGap) || near(a1, b0, paneGap) }
	return near(g.x0, w.x0, paneAlign) && near(g.x1, w.x1, paneAlign) && gap(g.y0, g.y1, w.y0, w.y1) ||
		near(g.y0, w.y0, paneAlign) && near(g.y1, w.y1, paneAlign) && gap(g.x0, g.x1, w.x0, w.x1)
}

// sideOfGlass says whether a region that runs from the top of the picture to the
// bottom at one side ends in an upright edge: a glazed side of the room. A sky that
// touches three sides of the picture reaches no bottom. It must be far brighter than
// what is left: a bright room seen past a dark jamb, ceiling and carpet included, looks
// the same up to some four EV.
func (g *group) sideOfGlass() bool {
	return g.rims == 3 && g.tall && g.share < 0.6 && g.upright > 0.3 && g.straight > 0.7 && g.level > pastJamb
}

const pastJamb = 4.5 // EV; common practice, no source

func ramp(x, a, b float64) float64 { return max(0, min(1, (x-a)/(b-a))) }
