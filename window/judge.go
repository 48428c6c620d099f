package window

import (
	"math"
	"slices"
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
	// Something must say that this is outdoors: much brighter than the room, or a
	// picture, or cooler light, or a blank. Sun on a wall and a lit screen have
	// little of any.
	outdoors := ramp(g.level, 3, 5) + ramp(g.texture, 0.05, 0.25) + ramp(-g.warmth, 0, 0.8) + ramp(g.clipped, 0.2, 0.8)
	if outdoors < 0.9 {
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

// windows returns those of the candidates that are windows, in their order, and with
// them the panes that go on where a window's bar ends: of the same width above or below
// it, or of the same height beside it, and as bright. long is the reduced picture's
// long side.
func windows(groups []*group, long int) []*group {
	var sure, out []*group
	for _, g := range groups {
		if g.isWindow() {
			sure = append(sure, g)
		}
	}
	for _, g := range groups {
		if slices.Contains(sure, g) || slices.ContainsFunc(sure, func(w *group) bool { return g.goesOn(w, long) }) {
			out = append(out, g)
		}
	}
	return out
}

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
