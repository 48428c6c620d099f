package window

import "slices"

// A camera that photographs a room stands at the height of a chest or an eye, 1.2 to 1.6 m
// (common practice, no source), and no window lies wholly below that: what seems one is sun
// on a floor or a table, or a window's mirror image in polished tiles, upside down below it
// by twice the height of its sill and two stops darker or more: a polished floor returns 9 % of
// the light that falls on it at 60 degrees and 25 % at 75 (Fresnel's equations, index 1.5).
// Only a pane may: that of a door or a glazed wall whose upper panes are seen too, parted
// from it by no more than a rail, and about as bright.
const (
	lowTop   = 0.6 // of the picture's height: the horizon is near the middle, pitched or cropped by some degrees
	lowGap   = 0.4 // of a pane's height: the widest rail above it
	lowUnder = 0.7 // of a pane's width lies under the pane above
)

// standing are those of the windows that reach up to the height of the eye, and the panes
// under them.
func (s *scene) standing(found []*group) []*group {
	order := slices.Clone(found)
	slices.SortStableFunc(order, func(a, b *group) int { return a.y0 - b.y0 })
	var kept []*group
	for _, g := range order {
		if float64(g.y0) < lowTop*float64(s.h) || slices.ContainsFunc(kept, g.isUnder) {
			kept = append(kept, g)
		}
	}
	return slices.DeleteFunc(slices.Clone(found), func(g *group) bool { return !slices.Contains(kept, g) })
}

// isUnder says whether a region stands under another like the next pane of it.
func (g *group) isUnder(w *group) bool {
	shared := min(g.x1, w.x1) - max(g.x0, w.x0)
	return float64(shared) >= lowUnder*float64(g.x1-g.x0) && float64(g.y0-w.y1) <= lowGap*float64(g.y1-g.y0) &&
		g.level > w.level-paneLevel
}
