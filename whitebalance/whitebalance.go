// Package whitebalance finds what lit a view, one light or several, and takes
// the colour of the light out of the picture.
//
// A white wall beside a window is blue, the same wall beside a lamp is orange,
// and an orange wall is orange everywhere. Single pixels cannot tell these apart;
// surfaces can. Paint changes at an edge, and by the same ratio all along it;
// light changes gradually and falls on both sides of an edge alike. So the view
// is cut into smooth surfaces, the colour steps between neighbouring surfaces
// are taken for paint, and what is left is light (the idea of Horn's lightness
// computation, Comput. Graph. Image Process. 3, 1974, on regions instead of
// pixels). One constant stays open: which paint is white. The surfaces vote on
// it, large, bright ones first, and a light that would have to lie far from the
// Planckian and daylight loci is held against a candidate.
//
// The light then is a smooth field that runs between two sources, lamps and
// daylight, as in Hsu, Mertens, Paris, Avidan and Durand, "Light mixture
// estimation for spatially varying white balance", ACM Trans. Graph. 27:3, 2008.
// It is removed by scaling linear BT.2020 channels, whose narrow primaries are
// close to the sharpened sensors in which a change of light is such a scaling
// (Finlayson, Drew and Funt, J. Opt. Soc. Am. A 11:1553, 1994).
//
// Views of one room are solved together: [Measure] every view, hand the [Evidence] of
// all to [Agree], and measure each again with its [Accord].
package whitebalance

import (
	"context"
	"errors"
	"fmt"

	"mullion/colour"
	"mullion/internal/raster"
)

// Strength is how much of the difference between a place's light and the view's
// main light is taken out. Below one, a warm lamp keeps a trace of warmth.
const Strength = 0.85

// Prior is what is known about the light before looking.
type Prior struct {
	// XY is the chromaticity of the light by the camera's as-shot setting; zero
	// when unknown.
	XY [2]float64
	// Rendered says that the picture is a display file which the camera has
	// balanced to D65 already: it is changed only on good evidence.
	Rendered bool
	// Accord is what this view and others of the same room agreed on; nil when it is
	// taken alone. See [Agree].
	Accord *Accord
}

// Estimate is the light of one view.
type Estimate struct {
	// Kelvin and Duv name the main light: correlated colour temperature, and the
	// signed distance from the Planckian locus (Ohno 2013).
	Kelvin, Duv float64
	// SecondKelvin and SecondDuv name the second light; zero when there is one.
	SecondKelvin, SecondDuv float64
	// Confidence runs from 0 (a guess) to 1 (large, bright, agreeing neutral
	// surfaces).
	Confidence float64
	// Window is the chromaticity by which what lies beyond the glass is balanced.
	Window colour.XY
	// Strength is how far the local light is taken out, 0..1; see [Strength].
	Strength float64

	base  chroma  // the light from which warmth is measured, see parted
	field field   // the light at reduced size
	gains *gains  // what Apply makes of it; nil when that was not made yet
	trust float64 // how much of the light is taken out at all, if rendered

	rendered bool

	evidence Evidence
}

// Evidence is what the view has to say about its light, for [Agree].
func (e *Estimate) Evidence() Evidence { return e.evidence }

// Measure finds the light of a view. img is linear BT.2020 scene colour, any
// scale, with the colour of the light still in it; it is not changed. window is
// the coverage 0..1 of what is seen through glass, of the same size, or nil.
func Measure(ctx context.Context, img *raster.RGB, window *raster.Plane, prior Prior) (*Estimate, error) {
	if img == nil || img.W() < 16 || img.H() < 16 {
		return nil, errors.New("whitebalance: the picture is smaller than 16 x 16 pixels")
	}
	if window != nil && (window.W != img.W() || window.H != img.H()) {
		return nil, fmt.Errorf("whitebalance: a window map of %d x %d for a picture of %d x %d", window.W, window.H, img.W(), img.H())
	}
	v, err := reduce(ctx, img, window)
	if err != nil {
		return nil, err
	}
	surfaces := v.segment()
	edges := v.separate(surfaces)
	if len(surfaces) == 0 {
		return v.guess(prior), nil
	}
	found := v.gather(surfaces, prior)
	t := newTally(found)
	found.White, found.Confidence = t.findWhite()
	return v.estimate(ctx, surfaces, edges, t, prior)
}
