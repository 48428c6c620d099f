package window

import (
	"math"
	"slices"
)

// The panes of a glazed wall show different things, one the sky and its neighbour a house in
// shade that is no brighter than a wall in the room. What parts them from walls is where
// they stand: beside a window, or under it, with but a mullion or a transom between them.

// neighbours adds to windows those of the others that stand beside one of them as the next
// pane does, and beside those again. others are in order of depth: of a region and its own
// brighter parts the first is taken.
func (s *scene) neighbours(sure, others []*group) []*group {
	long := max(s.w, s.h)
	taken := make([]bool, s.w*s.h)
	take := func(g *group) {
		for _, i := range g.pix {
			taken[i] = true
		}
	}
	for _, g := range sure {
		take(g)
	}
	for again := true; again; {
		again = false
		for _, g := range others {
			if !g.mayBePane() || slices.ContainsFunc(g.pix, func(i int32) bool { return taken[i] }) ||
				!slices.ContainsFunc(sure, func(w *group) bool { return g.isBeside(w, long) }) {
				continue
			}
			sure = append(sure, g)
			take(g)
			again = true
		}
	}
	return sure
}

// sureNext is how much of a neighbour's outline must be straight edges: with less, a piece of
// the ceiling above the pane came with it.
const sureNext = 0.9

// mayBePane says whether a region has the marks of a window and edges around it.
func (g *group) mayBePane() bool {
	return g.isWindow() && g.frame.ends >= 2 && g.frame.sure >= sureNext
}

const paneShared = 0.7 // of the shorter of two panes' sides lies along the other

// isBeside says whether two regions stand side by side or one under the other with no more
// than a bar between them.
func (g *group) isBeside(w *group, long int) bool {
	near := func(a1, b0 int) bool { return math.Abs(float64(b0-a1)) <= paneGap*float64(long) }
	shared := func(a0, a1, b0, b1 int) bool {
		return float64(min(a1, b1)-max(a0, b0)) >= paneShared*float64(min(a1-a0, b1-b0))
	}
	return shared(g.x0, g.x1, w.x0, w.x1) && (near(g.y1, w.y0) || near(w.y1, g.y0)) ||
		shared(g.y0, g.y1, w.y0, w.y1) && (near(g.x1, w.x0) || near(w.x1, g.x0))
}
