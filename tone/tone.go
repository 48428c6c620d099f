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
	// Match, when set, holds the anchors shared by the views of one room: this
	// view's own are drawn towards them, by up to half a stop.
	Match *Anchors
}

// Report says what was used. The EVs include the automatic start: by how much
// the room's radiance was raised, and what was added to that in the windows.
type Report struct {
	RoomEV, WindowEV float64
	Anchors          Anchors
}

// ErrSize is returned when the window map does not fit the picture.
var ErrSize = errors.New("tone: the window map and the picture differ in size")

// Render makes a picture of img: linear BT.2020 radiance, white-balanced, in any
// unit. win may be nil. The result is linear light with the primaries and white
// of sRGB (BT.709, D65), every channel within 0 to 1. It is written over img,
// which is returned; the caller must not use the radiance afterwards.
func Render(ctx context.Context, img *raster.RGB, win *window.Map, p Params) (*raster.RGB, Report, error) {
	s, err := reduce(ctx, img, win)
	if err != nil {
		return nil, Report{}, err
	}
	defer s.release()
	a := s.anchors(win)
	rep := Report{Anchors: a}
	if p.Match != nil {
		a.Wall = drawTo(a.Wall, p.Match.Wall)
	}
	c := reach(a.Bright-a.Wall, a.Dark-a.Wall)
	rep.RoomEV = p.RoomEV - a.Wall
	rep.WindowEV = p.WindowEV + s.windowStart(c, -a.Wall, a.Clipped)
	if err := s.expose(ctx, rep.RoomEV, rep.WindowEV); err != nil {
		return nil, rep, err
	}
	out, err := localTone(ctx, s.lit, c)
	if err != nil {
		return nil, rep, err
	}
	defer raster.Put(out)
	ga, gb, err := fitGain(ctx, s.log, out)
	if err != nil {
		return nil, rep, err
	}
	defer raster.Put(ga, gb)
	return img, rep, apply(ctx, img, ga, gb)
}

// Measure returns the anchors of a view without rendering it, for matching the
// views of a shoot before any is rendered. img is not changed.
func Measure(ctx context.Context, img *raster.RGB, win *window.Map) (Anchors, error) {
	s, err := reduce(ctx, img, win)
	if err != nil {
		return Anchors{}, err
	}
	defer s.release()
	return s.anchors(win), nil
}

func drawTo(own, shared float64) float64 {
	return own + max(-0.5, min(0.5, shared-own))
}
