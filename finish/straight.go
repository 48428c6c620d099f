package finish

import (
	"context"

	"mullion/internal/raster"
	"mullion/plumb"
	"mullion/shoot"
	"mullion/warp"
	"mullion/whitebalance"
	"mullion/window"
)

// straight is a view's kept radiance after the resampling, at the size of a live picture,
// with what was found in it.
type straight struct {
	level   shoot.Level
	byHand  bool
	pic     *picture // its rgb is the radiance without its light, as that was measured
	full    plumb.Geometry
	outside *window.Map
}

// straighten resamples the kept radiance as measured or set by hand, looks at it and
// takes its light out.
//
// What lit the view is found once, as it was measured to stand: who sets its level by
// hand turns the camera and no lamp, so the light is turned with the picture. The windows
// are found anew, since their sides are told by standing upright.
func (k *reduced) straighten(ctx context.Context, byHand *shoot.Level) (*straight, error) {
	s := k.straightAt(byHand)
	if byHand != nil {
		if err := k.see(ctx); err != nil {
			return nil, err
		}
	}
	if err := s.warp(ctx, k); err != nil {
		return nil, err
	}
	doubt, err := s.look(ctx, k)
	if err != nil {
		return nil, err
	}
	defer raster.Put(doubt)
	return s, s.pic.unlight(ctx, s.outside, doubt)
}

// straightAt is a view as measured or set by hand, before anything is resampled.
func (k *reduced) straightAt(byHand *shoot.Level) *straight {
	s := &straight{byHand: byHand != nil, pic: k.picture()}
	if byHand != nil {
		s.level = *byHand
		s.pic.hold(byHand)
	}
	s.full = s.pic.pose.Plan(k.Frame[0], k.Frame[1], plumb.PlanOptions{Orientation: k.Info.Orientation})
	return s
}

// stands says whether this is the view at a level, nil for the measured one.
func (s *straight) stands(byHand *shoot.Level) bool {
	return s.byHand == (byHand != nil) && (byHand == nil || sameLevel(s.level, *byHand))
}

// look finds the windows, and has what lit the view.
func (s *straight) look(ctx context.Context, k *reduced) (doubt *raster.Plane, err error) {
	if !s.byHand {
		s.outside, doubt, err = s.pic.look(ctx)
		k.light, k.lit = s.pic.light, s.full
		return doubt, err
	}
	turned := make(chan *whitebalance.Estimate, 1)
	go func() { turned <- k.light.Moved(turnedFrom(s.full, k.lit)) }()
	s.outside, doubt, err = s.pic.windows(ctx)
	s.pic.light = <-turned
	return doubt, err
}

// see has what lit the view.
func (k *reduced) see(ctx context.Context) error {
	if k.light != nil {
		return nil
	}
	s := k.straightAt(nil)
	if err := s.warp(ctx, k); err != nil {
		return err
	}
	outside, doubt, err := s.pic.look(ctx)
	if err != nil {
		return err
	}
	s.outside, k.light, k.lit = outside, s.pic.light, s.full
	raster.Put(doubt)
	s.release()
	return nil
}

// release gives the memory back. s may be nil; nothing made from it may be used any more.
func (s *straight) release() {
	if s != nil {
		raster.PutRGB(s.pic.rgb)
		raster.Put(coverage(s.outside))
	}
}

// warp resamples the kept radiance by the plan of the full size.
func (s *straight) warp(ctx context.Context, k *reduced) error {
	full := s.full
	w, h := within(full.W, full.H, PreviewEdge)
	s.pic.plan = full
	s.pic.plan.W, s.pic.plan.H, s.pic.plan.Map = w, h, full.MapFor(w, h)
	var err error
	s.pic.rgb, err = warp.Apply(ctx, k.rgb, from(s.pic.plan.Map, k, k.rgb), w, h)
	return err
}

// from is a map that leads to the full-size source, led to a reduced one.
func from(m warp.Map, k *reduced, rgb *raster.RGB) warp.Map {
	fx, fy := float64(rgb.W())/float64(k.W), float64(rgb.H())/float64(k.H)
	out := warp.Map{At: func(x, y float64) (float64, float64) {
		sx, sy := m.At(x, y)
		return sx * fx, sy * fy
	}}
	if m.Channel != nil {
		out.Channel = func(c int, sx, sy float64) (float64, float64) {
			sx, sy = m.Channel(c, sx/fx, sy/fy)
			return sx * fx, sy * fy
		}
	}
	if m.Gain != nil {
		out.Gain = func(sx, sy float64) float64 { return m.Gain(sx/fx, sy/fy) }
	}
	return out
}
