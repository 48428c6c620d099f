package finish

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"

	"mullion/colour"
	"mullion/deliver"
	"mullion/internal/raster"
	"mullion/plumb"
	"mullion/shoot"
	"mullion/warp"
)

// Exposure returns frame n of a view as its camera would show it, but in the geometry
// of the finished picture, so that the two can be compared place by place: a JPEG file
// of [PreviewEdge]. The camera's own balance is used and nothing is lifted.
func (p *Previews) Exposure(ctx context.Context, v shoot.View, n int) ([]byte, error) {
	return p.frameAt(ctx, v, n, PreviewEdge, "exposures", lookQuality)
}

// FullExposure is [Previews.Exposure] at the size of [Previews.Full].
func (p *Previews) FullExposure(ctx context.Context, v shoot.View, n int) ([]byte, error) {
	return p.frameAt(ctx, v, n, math.MaxInt, "exposures-full", fullQuality)
}

// frameAt makes one frame with a long edge of at most so many pixels and keeps it in a
// folder of the cache.
func (p *Previews) frameAt(ctx context.Context, v shoot.View, n, edge int, folder string, quality int) ([]byte, error) {
	if n < 0 || n >= len(v.Frames) {
		return nil, errors.New("there is no such frame in this view")
	}
	one := shoot.View{Frames: v.Frames[n : n+1], Decisions: shoot.Decisions{Level: v.Decisions.Level}}
	path := filepath.Join(p.dir, "cache", folder, LookKey(one, nil)+".jpg")
	if b, err := os.ReadFile(path); err == nil && len(b) > 0 {
		return b, nil
	}
	plan, k, err := p.planOf(ctx, v)
	if err != nil {
		return nil, err
	}
	scene, err := Merge(ctx, []string{p.path(v.Frames[n].Path)}, nil)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(scene.RGB)
	if scene.RGB.W() != k.W || scene.RGB.H() != k.H {
		return nil, errors.New("this frame has another size than the view")
	}
	w, h := within(plan.W, plan.H, edge)
	rgb, err := warp.Apply(ctx, scene.RGB, plan.MapFor(w, h), w, h)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(rgb)
	if err := scene.plain(ctx, rgb); err != nil {
		return nil, err
	}
	b, err := deliver.Screen(ctx, rgb, float64(plan.W)/float64(w), quality)
	if err == nil {
		_ = putFile(path, b)
	}
	return b, err
}

// plain takes radiance of one frame to sRGB primaries: clipping is white, the light of
// the camera's setting is grey.
func (s *Scene) plain(ctx context.Context, rgb *raster.RGB) error {
	m := colour.BT2020ToSRGB
	if s.Light.X > 0 {
		f := factors(colour.D65, s.Light)
		for i := range 3 {
			for j := range 3 {
				m[i][j] *= float64(f[j])
			}
		}
	}
	scale := 1.0
	if s.ceiling.clip > 0 {
		scale = 1 / float64(s.ceiling.clip)
	}
	for i := range 3 {
		for j := range 3 {
			m[i][j] *= scale
		}
	}
	return raster.Transform(ctx, rgb, m, 0)
}

// planOf is the geometry of a view's finished picture.
func (p *Previews) planOf(ctx context.Context, v shoot.View) (plumb.Geometry, *reduced, error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return plumb.Geometry{}, nil, err
	}
	return s.full, l.kept, nil
}

// Full returns the finished picture of a view at full size as a JPEG file, made from
// its frames as a run makes it. It takes as long as that, the first time; after another
// decision about the same view its frames need not be merged again.
func (p *Previews) Full(ctx context.Context, v shoot.View) ([]byte, error) {
	path := filepath.Join(p.dir, "cache", "full", LookKey(v, p.all())+".jpg")
	if b, err := os.ReadFile(path); err == nil && len(b) > 0 {
		return b, nil
	}
	if _, _, err := p.planOf(ctx, v); err != nil { // from here on the radiance is kept
		return nil, err
	}
	k, err := p.load(ctx, v)
	if err != nil {
		return nil, err
	}
	defer raster.PutRGB(k.rgb)
	pic := k.picture()
	if err := p.radiance(ctx, v, k, pic); err != nil {
		return nil, err
	}
	src := pic.scene.RGB
	pic.hold(v.Decisions.Level)
	pic.plan = pic.pose.Plan(k.Frame[0], k.Frame[1], plumb.PlanOptions{Orientation: k.Info.Orientation})
	pic.rgb, err = warp.Apply(ctx, src, pic.plan.Map, pic.plan.W, pic.plan.H)
	raster.PutRGB(src)
	if err != nil {
		return nil, err
	}
	defer pic.release()
	if err := pic.show(ctx, k, v.Decisions); err != nil {
		return nil, err
	}
	if err := pic.edit(ctx, v.Edits, p.path); err != nil {
		return nil, err
	}
	b, err := deliver.Screen(ctx, pic.rgb, 1, fullQuality)
	if err == nil {
		_ = putFile(path, b)
	}
	return b, err
}
