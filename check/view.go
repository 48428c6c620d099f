package check

import (
	"context"

	"mullion/bracket"
	"mullion/colour"
	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/plumb"
	"mullion/whitebalance"
	"mullion/window"
)

// seen is everything that was measured on one view. Judging comes after it and looks
// at nothing else.
type seen struct {
	frames []*small // darkest first; unusable ones have an error
	used   []int    // indices of those the merge took
	merged *bracket.Radiance
	info   metadata.Info // of the reference frame

	scene    *raster.RGB // reduced radiance, linear BT.2020, sensor's orientation
	level    *raster.Plane
	rendered bool
	asShot   colour.XY // the light the camera was set to; zero when unknown

	windows *window.Map
	light   *whitebalance.Estimate
	pose    plumb.Pose
	kept    float64 // share of the frame that straightening would leave

	clipped clipping
	shadows shadows
	moving  []region
	flicker flicker
	banded  []bool // frames that the merge left out and that have bands
	sharp   blur
}

// look merges a view's frames at reduced size and measures it with the stations that
// will finish it later.
func look(ctx context.Context, frames []*small) (*seen, error) {
	v := &seen{frames: frames}
	if err := v.merge(ctx); err != nil || v.merged == nil {
		return v, err
	}
	var err error
	if v.windows, err = window.Find(ctx, v.scene); err != nil && err != window.ErrTooSmall {
		return nil, err
	}
	if err := v.measureLight(ctx); err != nil {
		return nil, err
	}
	if err := v.measurePose(ctx); err != nil {
		return nil, err
	}
	v.clipped = v.measureClipping()
	v.shadows = v.measureShadows()
	v.sharp = v.measureBlur()
	if v.moving, err = v.measureMotion(ctx); err != nil {
		return nil, err
	}
	return v, v.measureFlicker(ctx)
}

// merge fills scene. It leaves merged nil when no frame can be used.
func (v *seen) merge(ctx context.Context) error {
	var reduced []*frameOf
	for i, f := range v.frames {
		if f.err == nil {
			reduced = append(reduced, &frameOf{i, f})
		}
	}
	if len(reduced) == 0 {
		return nil
	}
	m, err := bracket.Merge(ctx, framesOf(reduced), bracket.Options{Reference: -1})
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil { // not one of them shows anything
		return nil
	}
	v.merged = m
	for i, r := range m.Frames {
		if r.Used {
			v.used = append(v.used, reduced[i].index)
		}
	}
	// From the order of what was merged to that of the view.
	reports := make([]bracket.FrameReport, len(v.frames))
	for i, r := range m.Frames {
		reports[reduced[i].index] = r
	}
	m.Frames, m.Reference = reports, reduced[m.Reference].index
	v.info = v.frames[m.Reference].info
	return v.develop(ctx)
}

func (v *seen) develop(ctx context.Context) error {
	m := v.merged
	v.scene = m.RGB
	v.rendered = m.Space == bracket.BT2020
	neutral, toScene := colour.Vec3{1, 1, 1}, colour.Identity
	if !v.rendered {
		c := m.Camera
		var err error
		toScene, v.asShot, err = colour.CameraToScene(c.Matrix1, c.Matrix2, c.CCT1, c.CCT2, c.Neutral)
		if err != nil {
			return err
		}
		if neutral = c.Neutral; neutral == (colour.Vec3{}) {
			inverse, _ := toScene.Inverse()
			neutral = inverse.Apply(colour.Vec3{1, 1, 1})
			v.asShot = colour.XY{}
		}
	}
	var err error
	if v.rendered {
		err = bracket.WhitenRendered(ctx, v.scene, m.Clip)
	} else {
		err = bracket.Whiten(ctx, v.scene, m.Clip, neutral)
	}
	if err != nil {
		return err
	}
	least := m.Clip * 1e-6
	if err := raster.Transform(ctx, v.scene, toScene, least); err != nil {
		return err
	}
	v.level = raster.Get(v.scene.W(), v.scene.H())
	for y := range v.level.H {
		r, g, b, out := v.scene[0].Row(y), v.scene[1].Row(y), v.scene[2].Row(y), v.level.Row(y)
		for x := range out {
			out[x] = raster.Log2(.2627*r[x] + .6780*g[x] + .0593*b[x])
		}
	}
	return nil
}

func (v *seen) measureLight(ctx context.Context) error {
	var coverage *raster.Plane
	if v.windows != nil {
		coverage = v.windows.Coverage
	}
	var err error
	v.light, err = whitebalance.Measure(ctx, v.scene, coverage,
		whitebalance.Prior{XY: [2]float64{v.asShot.X, v.asShot.Y}, Rendered: v.rendered})
	return err
}

func (v *seen) measurePose(ctx context.Context) error {
	luma, err := plumb.Luma(ctx, v.scene, max(v.scene.W(), v.scene.H()))
	if err != nil {
		return err
	}
	up := raster.Upright(luma, v.info.Orientation)
	raster.Put(luma)
	defer raster.Put(up)
	ref := v.frames[v.merged.Reference]
	w, h := ref.fullW, ref.fullH
	if v.info.Orientation >= 5 {
		w, h = h, w
	}
	v.pose, err = plumb.Measure(ctx, up, plumb.Look(v.info, w, h))
	if err != nil {
		return err
	}
	v.kept = 1
	if v.pose.Confidence >= plumb.Sure {
		v.kept = v.keptBy(w, h)
	}
	return nil
}

// keptBy is the share of the frame that straightening pitch and roll keeps. The lens's
// own bend, which costs its share however the camera is held, is left out.
func (v *seen) keptBy(w, h int) float64 {
	p := v.pose
	p.Profile = nil
	return p.Plan(w, h, plumb.PlanOptions{LeaveYaw: true, MinKept: .01}).CropKept
}

func (v *seen) release() {
	for _, f := range v.frames {
		f.release()
	}
	raster.PutRGB(v.scene)
	raster.Put(v.level)
	v.scene, v.level = nil, nil
}
