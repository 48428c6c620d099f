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

// tilted is a draft of a level that is being tried. Its windows and its light are those of
// the picture that was made last, turned with it: the picture that follows when the hand
// rests looks for the windows anew.
type tilted struct {
	straight *straight // without radiance
	draft    *draft
}

// release gives the memory back. t may be nil.
func (t *tilted) release() {
	if t != nil {
		t.draft.release()
	}
}

// tilt has the draft of a level, nil for the measured one.
func (l *live) tilt(ctx context.Context, level *shoot.Level) (*tilted, error) {
	if l.tilted != nil && l.tilted.straight.stands(level) {
		return l.tilted, nil
	}
	if err := l.reduce(ctx, l.straight); err != nil {
		return nil, err
	}
	if err := l.shrink(ctx); err != nil {
		return nil, err
	}
	s := l.kept.straightAt(level)
	pic := s.pic
	w, h := within(s.full.W, s.full.H, PreviewEdge)
	w, h = within(w, h, DraftEdge) // as a draft of the picture is
	turn := make(chan *whitebalance.Estimate, 1)
	go func() { turn <- l.kept.light.Moved(turnedFrom(s.full, l.kept.lit)) }()
	rgb, err := warp.Apply(ctx, l.small, from(s.full.MapFor(w, h), l.kept, l.small), w, h)
	pic.light = <-turn
	if err != nil {
		return nil, err
	}
	d := &draft{rgb: rgb}
	pic.rgb = rgb
	if d.outside, err = l.straight.turned(ctx, l.draft.outside, s.full, w, h); err != nil {
		d.release()
		return nil, err
	}
	doubt, err := pic.scene.ceiling.doubt(ctx, rgb)
	if err == nil {
		err = pic.unlight(ctx, d.outside, doubt)
	}
	raster.Put(doubt)
	if err != nil {
		d.release()
		return nil, err
	}
	l.tilted.release()
	l.tilted = &tilted{s, d}
	return l.tilted, nil
}

// shrink has the kept radiance at half its size, from which drafts of a level are cut.
func (l *live) shrink(ctx context.Context) error {
	if l.small != nil {
		return nil
	}
	w, h := within(l.kept.rgb.W(), l.kept.rgb.H(), keptEdge/2)
	small := &raster.RGB{}
	var err error
	for c := range small {
		if small[c], err = raster.Shrink(ctx, l.kept.rgb[c], w, h); err != nil {
			return err
		}
	}
	l.small = small
	return nil
}

// turned is where the outside is seen in another framing of the view, of w x h pixels, by
// what was found in this one, outside. What lies beyond its border is taken to be as at
// the border. outside may be nil.
func (s *straight) turned(ctx context.Context, outside *window.Map, full plumb.Geometry, w, h int) (*window.Map, error) {
	if outside == nil {
		return nil, nil
	}
	out := *outside
	out.Coverage = raster.Get(w, h)
	at := raster.Sample(turnedFrom(full, s.full))
	from := outside.Coverage
	return &out, raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row := out.Coverage.Row(y)
			for x := range row {
				px, py := at.At((float64(x)+0.5)/float64(w), (float64(y)+0.5)/float64(h))
				row[x] = between(from, px*float64(from.W)-0.5, py*float64(from.H)-0.5)
			}
		}
	})
}

// between is the plane's value at a place between its samples, counted from the middle of
// the first; beyond the border it is the border's.
func between(p *raster.Plane, x, y float64) float32 {
	x, y = max(0, min(float64(p.W-1), x)), max(0, min(float64(p.H-1), y))
	i, j := min(int(x), max(0, p.W-2)), min(int(y), max(0, p.H-2))
	u, v := float32(x-float64(i)), float32(y-float64(j))
	a, b := p.Row(j)[i:], p.Row(min(p.H-1, j+1))[i:]
	k := min(1, len(a)-1)
	top, end := a[0]+(a[k]-a[0])*u, b[0]+(b[k]-b[0])*u
	return top + (end-top)*v
}
