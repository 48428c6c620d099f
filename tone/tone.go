// Package tone turns scene radiance into a picture for a screen.
//
// A room by day spans fourteen stops, a screen nine. The work is done on log
// luminance at reduced size, in three steps: what is seen through the windows is
// given an exposure of its own, blended by the soft window map; a tone curve
// takes the range to the screen; and a local Laplacian filter (Paris, Hasinoff &
// Kautz 2011, in the fast form of Aubry et al. 2014) lets the curve act on large
// steps only, so that texture keeps its contrast where the curve is flat. The
// result is a gain for every place, which is carried to full size as a locally
// linear function of log luminance (the fast guided filter of He & Sun 2015). A
// gain that is linear in the logarithm cannot ring, so there is no halo at a
// frame; and because all decisions are taken at one reduced size, a preview and
// the full picture agree.
//
// Colours are scaled as they are, and those that leave the screen's gamut are
// drawn towards grey along lines of one hue in Oklab.
//
// Render does it all at once. Whoever moves the two lights by hand looks at the
// radiance once, with Analyse, and calls View.Render for every position.
package tone

import (
	"context"
	"errors"

	"mullion/internal/raster"
	"mullion/window"
)

// Params are the two lights of the picture, in EV added to the automatic start.
type Params struct {
	RoomEV   float64
	WindowEV float64
	// Match, when set, is what the views of one room agreed on (see Agree): this
	// view's own brightness is drawn towards it.
	Match *Anchors
	// Longest is the radiance at which the bracket's longest frame is full, in the
	// picture's unit; 0 when that is not known. A room is not raised far above how
	// that frame shows it (see held).
	Longest float64
}

// Report says what was used. The EVs include the automatic start: by how much
// the room's radiance was raised, and what was added to that in the windows.
type Report struct {
	RoomEV, WindowEV float64
	Anchors          Anchors // the view's own, before matching
	HeldEV           float64 // by how much the room was left darker, see Params.Longest
}

var (
	// ErrSize is returned when the window map does not fit the picture.
	ErrSize = errors.New("tone: the window map and the picture differ in size")
	// ErrFraming is returned when a view is rendered from a picture of other sides.
	ErrFraming = errors.New("tone: the picture's sides are not in the proportion of the view that was analysed")
)

// Render makes a picture of img: linear BT.2020 radiance, white-balanced, in any
// unit. win may be nil. The result is linear light with the primaries and white
// of sRGB (BT.709, D65), every channel within 0 to 1. It is written over img,
// which is returned; the caller must not use the radiance afterwards.
func Render(ctx context.Context, img *raster.RGB, win *window.Map, p Params) (*raster.RGB, Report, error) {
	v, err := Analyse(ctx, img, win, Full)
	if err != nil {
		return nil, Report{}, err
	}
	defer v.Release()
	rep, err := v.Render(ctx, img, img, p)
	if err != nil {
		return nil, rep, err
	}
	return img, rep, nil
}

// Measure returns the anchors of a view without rendering it, for matching the
// views of a room before any is rendered. img is not changed.
func Measure(ctx context.Context, img *raster.RGB, win *window.Map) (Anchors, error) {
	s, err := reduce(ctx, img, win, int(Full))
	if err != nil {
		return Anchors{}, err
	}
	defer s.release()
	return s.anchors(win), nil
}
