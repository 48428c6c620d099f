package tone

import (
	"context"
	"math"
	"sync"

	"mullion/internal/raster"
	"mullion/window"
)

// Fineness is the long side, in pixels, at which the gain is made.
type Fineness int

const (
	Full  Fineness = 1280 // for pictures that are kept: fine enough for chair legs
	Draft Fineness = 640  // for pictures that follow a moving hand: a quarter of the work
)

// View is one view's radiance as tone sees it, analysed once and good for any
// number of renderings. It holds no part of the picture it was made from. It is
// not changed by rendering: several goroutines may render from one View.
type View struct {
	scene   *scene
	coarse  *scene // the same four times smaller, to try out the windows' light; nil without
	anchors Anchors

	start struct { // the automatic start of the windows' light, as last found
		sync.Mutex
		of Anchors
		ev float64
	}
}

// Analyse looks at img, linear BT.2020 radiance, white-balanced, in any unit, and
// at its windows; win may be nil. Neither is changed or kept.
func Analyse(ctx context.Context, img *raster.RGB, win *window.Map, size Fineness) (*View, error) {
	s, err := reduce(ctx, img, win, int(size))
	if err != nil {
		return nil, err
	}
	v, done := &View{scene: s}, make(chan struct{})
	go func() { // one core's work, for which the surroundings need not wait
		v.anchors = s.anchors(win)
		close(done)
	}()
	err = s.lookAround(ctx)
	<-done
	if err != nil {
		return nil, err
	}
	if s.win != nil {
		v.coarse, err = s.smaller(ctx)
	}
	return v, err
}

// Anchors are the levels the view is exposed by: plain numbers that can be kept as
// JSON, and what Agree takes.
func (v *View) Anchors() Anchors { return v.anchors }

// Release gives the view's memory back. The view must not be used afterwards.
func (v *View) Release() {
	v.scene.release()
	if v.coarse != nil {
		v.coarse.release()
	}
}

// Render makes the picture of src into dst, which may be src or must have its size.
// src is the radiance that was analysed, in the same unit, at any size of the same
// framing; dst is as the package's Render describes it.
func (v *View) Render(ctx context.Context, dst, src *raster.RGB, p Params) (Report, error) {
	s := v.scene
	if !sameFraming(src.W(), src.H(), s.w, s.h) || dst.W() != src.W() || dst.H() != src.H() {
		return Report{}, ErrFraming
	}
	a := v.anchors
	rep := Report{Anchors: a}
	if p.Match != nil {
		a.Wall = drawn(a.Wall, p.Match.Wall)
	}
	rep.HeldEV = held(a.Wall, p.Longest) - a.Wall
	a.Wall += rep.HeldEV
	c := reach(a.Dark - a.Wall)
	rep.RoomEV = p.RoomEV - a.Wall
	start, err := v.windowStart(ctx, c, a)
	if err != nil {
		return rep, err
	}
	rep.WindowEV = p.WindowEV + start
	lit, err := s.expose(ctx, rep.RoomEV, rep.WindowEV)
	if err != nil {
		return rep, err
	}
	defer raster.Put(lit)
	out, err := localTone(ctx, lit, c, s.octave)
	if err != nil {
		return rep, err
	}
	defer raster.Put(out)
	ga, gb, err := fitGain(ctx, s.log, out)
	if err != nil {
		return rep, err
	}
	defer raster.Put(ga, gb)
	return rep, apply(ctx, dst, src, ga, gb)
}

// sameFraming allows each side the rounding to whole pixels, at either size.
func sameFraming(w, h, sw, sh int) bool {
	f := float64(max(w, h)) / float64(max(sw, sh))
	slack := 1 + f
	return math.Abs(float64(w)-float64(sw)*f) <= slack && math.Abs(float64(h)-float64(sh)*f) <= slack
}
