package tone

import (
	"math"
	"slices"
)

// Views of one room agree on how bright its walls are. Common practice, no source:
// half a stop is what a photographer would move one view to match the others; a
// view that would have to move further than that shows other surfaces or other
// light, and is moved less, or not at all.
const (
	mostDrawn = 0.5 // EV: all of the distance up to here is closed
	oddFrom   = 1.0 // EV: from here on a view is odd, and the pull lets go
	oddTo     = 2.0 // EV: here nothing is left of it
)

// Agree returns what the views of one room have in common, for Params.Match, or nil
// when there is nothing to agree on: fewer than two views, or no two within reach of
// each other. The anchors must be in one unit, as radiance in cd/m2 is; views whose
// exposure is unknown have units of their own and must be left out. The order of the
// views does not matter.
//
// The walls' level is the median over the views, so that one odd view among three or
// more changes nothing, and an odd one of two leaves both as they are.
func Agree(views ...Anchors) *Anchors {
	var walls []float64
	for _, v := range views {
		if !math.IsNaN(v.Wall) && !math.IsInf(v.Wall, 0) {
			walls = append(walls, v.Wall)
		}
	}
	slices.Sort(walls)
	n := len(walls)
	if n < 2 {
		return nil
	}
	wall := (walls[(n-1)/2] + walls[n/2]) / 2
	near := 0
	for _, w := range walls {
		if math.Abs(w-wall) < oddTo {
			near++
		}
	}
	if near < 2 {
		return nil
	}
	return &Anchors{Wall: wall}
}

// drawn is own drawn towards shared.
func drawn(own, shared float64) float64 {
	d := shared - own
	pull := max(-mostDrawn, min(mostDrawn, d))
	return own + pull*max(0, min(1, (oddTo-math.Abs(d))/(oddTo-oddFrom)))
}
