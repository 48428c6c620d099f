package finish

import (
	"context"

	"mullion/internal/raster"
	"mullion/shoot"
	"mullion/window"
)

// DraftEdge is the long edge in pixels of a draft.
const DraftEdge = 800

// draft is the balanced radiance at half the size of a live picture, before anything
// was decided about warmth.
type draft struct {
	of      *straight
	rgb     *raster.RGB
	outside *window.Map
}

// Draft makes a smaller and quicker picture of a view, for while a hand is moving. It
// goes through the same stations as [Previews.Make]; the caller owns its planes.
func (p *Previews) Draft(ctx context.Context, v shoot.View) (*raster.RGB, error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return nil, err
	}
	if err := l.reduce(ctx, s); err != nil {
		return nil, err
	}
	pic := *s.pic
	pic.clock = &Clock{}
	pic.findings = nil
	pic.rgb = raster.GetRGB(l.draft.rgb.W(), l.draft.rgb.H())
	copyRGB(pic.rgb, l.draft.rgb)
	pic.plan.W, pic.plan.H = pic.rgb.W(), pic.rgb.H()
	pic.plan.Map = s.full.MapFor(pic.plan.W, pic.plan.H)
	if err := pic.warm(ctx, coverage(l.draft.outside), v.Decisions); err != nil {
		return nil, err
	}
	if err := pic.expose(ctx, l.draft.outside, v.Decisions); err != nil {
		return nil, err
	}
	if err := pic.edit(ctx, v.Edits, p.path); err != nil {
		return nil, err
	}
	raster.PutRGB(pic.twin)
	return pic.rgb, nil
}

// reduce has the draft's radiance.
func (l *live) reduce(ctx context.Context, s *straight) error {
	if l.draft != nil && l.draft.of == s {
		return nil
	}
	pic := *s.pic
	pic.rgb = raster.GetRGB(s.pic.rgb.W(), s.pic.rgb.H())
	copyRGB(pic.rgb, s.pic.rgb)
	defer raster.PutRGB(pic.rgb)
	if err := pic.whiten(ctx, s.outside, s.doubt, shoot.Decisions{}); err != nil {
		return err
	}
	w, h := within(pic.rgb.W(), pic.rgb.H(), DraftEdge)
	d := &draft{of: s, rgb: &raster.RGB{}}
	var err error
	for c := range d.rgb {
		if d.rgb[c], err = raster.Shrink(ctx, pic.rgb[c], w, h); err != nil {
			return err
		}
	}
	if s.outside != nil {
		small := *s.outside
		if small.Coverage, err = raster.Shrink(ctx, s.outside.Coverage, w, h); err != nil {
			return err
		}
		d.outside = &small
	}
	l.draft = d
	return nil
}
