// Package dust finds dust on a camera's sensor from the views of one shoot and takes
// its shadow out of them.
//
// A grain on the cover glass lies some tenths of a millimetre before the pixels, so
// it is a soft, round, slightly dark spot, at the same place of the sensor in every
// view. Whatever is really in the room is elsewhere in the next view. So a spot
// counts only where several compositions show it against a smooth surrounding, and
// hardly any that is smooth there lacks it. It is mended by dividing by the shadow's
// measured profile: what the shadow fell on stays.
//
// [Look] reduces one view to what it says about dust, a few kilobytes that can be kept
// as JSON; [Solve] puts the views together, in any order to the same result; [Mend]
// takes the shadows out.
//
// Nobody published numbers for this in a form to test against; the thresholds are
// common practice, no source, and the tests make their own dust.
package dust

// Spot is one grain's shadow. Places and sizes are shares of the picture's width, so
// that they hold for any size of the same sensor.
type Spot struct {
	X      float64 `json:"x"` // of the middle, from the left
	Y      float64 `json:"y"` // and from the top
	Radius float64 `json:"r"` // beyond it nothing is darkened
	// Shade is log2 of what is left of the light at evenly spaced distances from 0 to
	// Radius; never positive.
	Shade []float64 `json:"shade"`
	Views int       `json:"views"` // compositions that show it
}

// Depth is how much light the middle of the spot lacks, in EV, positive.
func (s Spot) Depth() float64 { return -s.Shade[0] }

const (
	edge     = 1500 // long side of the planes that are searched
	fewest   = 3    // compositions that must show a spot
	smooth   = 0.05 // EV: roughness of a surrounding that can tell
	faintest = 0.025
	most     = 60 // more spots than any sensor in use has: something else is wrong
)

// radii are the inner radii of the rings that a spot's middle is compared with, in
// pixels of the reduced planes; a spot is up to half as large.
var radii = [...]int{4, 8, 14}

// ring is how far the ring around radius r reaches.
func ring(r int) int { return r + max(2, r/2) }
