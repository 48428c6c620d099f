package finish

import (
	"context"

	"mullion/internal/raster"
	"mullion/shoot"
	"mullion/tone"
	"mullion/window"
)

// DraftEdge is the long edge in pixels of a draft.
const DraftEdge = 800

// draft is the straight radiance at half the size of a live picture, and the last that
// was made of it with what was decided about warmth.
type draft struct {
	rgb     *raster.RGB
	outside *window.Map
	warmed  *balanced
}

// release gives the memory back. d may be nil.
func (d *draft) release() {
	if d == nil {
		return
	}
	d.warmed.release(d.rgb)
	raster.PutRGB(d.rgb)
	raster.Put(coverage(d.outside))
}

// Draft makes a smaller and quicker picture of a view, for while a hand is moving. It
// goes through the same stations as [Previews.Make]; the caller owns its planes.
func (p *Previews) Draft(ctx context.Context, v shoot.View) (*raster.RGB, error) {
	l := p.of(v)
	l.mu.Lock()
	defer l.mu.Unlock()
	s, d, err := p.sketch(ctx, l, v)
	if err != nil {
		return nil, err
	}
	pic := *s.pic
	pic.clock = &Clock{}
	pic.findings = nil
	pic.plan.W, pic.plan.H = d.rgb.W(), d.rgb.H()
	pic.plan.Map = s.full.MapFor(pic.plan.W, pic.plan.H)
	if err := d.warm(ctx, s, v.Decisions); err != nil {
		return nil, err
	}
	if err := d.warmed.render(ctx, &pic, v.Decisions); err != nil {
		return nil, err
	}
	if err := pic.edit(ctx, v.Edits, p.path); err != nil {
		return nil, err
	}
	raster.PutRGB(pic.twin)
	return pic.rgb, nil
}

// sketch has the radiance of a view's draft. When only its level differs from that of the
// picture that was made last, nothing is looked for anew.
func (p *Previews) sketch(ctx context.Context, l *live, v shoot.View) (*straight, *draft, error) {
	if l.straight != nil && !l.straight.stands(v.Decisions.Level) {
		t, err := l.tilt(ctx, v.Decisions.Level)
		if err != nil {
			return nil, nil, err
		}
		return t.straight, t.draft, nil
	}
	s, err := p.ready(ctx, l, v)
	if err != nil {
		return nil, nil, err
	}
	err = l.reduce(ctx, s)
	return s, l.draft, err
}

// reduce has the draft's radiance.
func (l *live) reduce(ctx context.Context, s *straight) error {
	if l.draft != nil {
		return nil
	}
	from := s.pic.rgb
	w, h := within(from.W(), from.H(), DraftEdge)
	d := &draft{rgb: &raster.RGB{}}
	var err error
	for c := range d.rgb {
		if d.rgb[c], err = raster.Shrink(ctx, from[c], w, h); err != nil {
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

// warm has the draft's radiance for what was decided about warmth.
func (d *draft) warm(ctx context.Context, s *straight, by shoot.Decisions) error {
	pic := *s.pic
	pic.rgb = d.rgb
	if d.warmed != nil {
		return d.warmed.warm(ctx, &pic, d.outside, by)
	}
	b, err := balanceFor(ctx, &pic, d.outside, by, tone.Draft)
	d.warmed = b
	return err
}
