package finish

import (
	"context"

	"mullion/internal/raster"
	"mullion/shoot"
	"mullion/tone"
	"mullion/window"
)

// balanced is the radiance for the light that was decided to count as white, and what
// tone has seen in it: a change of light renders from that, and nothing is looked at
// again.
type balanced struct {
	with [2]shoot.Warmth
	rgb  *raster.RGB // another's when nothing was decided
	view *tone.View
}

// balanceFor warms the radiance of pic as decided and looks at it.
func balanceFor(ctx context.Context, pic *picture, outside *window.Map, d shoot.Decisions, size tone.Fineness) (*balanced, error) {
	b := &balanced{with: warmths(d), rgb: pic.rgb}
	if warms(d) {
		b.rgb = raster.GetRGB(pic.rgb.W(), pic.rgb.H())
		if err := pic.warm(ctx, b.rgb, coverage(outside), d); err != nil {
			return nil, err
		}
	}
	var err error
	b.view, err = tone.Analyse(ctx, b.rgb, outside, size)
	return b, err
}

// release gives the memory back, but for that of the radiance plain, which is not its
// own. b may be nil.
func (b *balanced) release(plain *raster.RGB) {
	if b == nil {
		return
	}
	b.view.Release()
	if b.rgb != plain {
		raster.PutRGB(b.rgb)
	}
}

// render is the picture of the balanced radiance under the two lights.
func (b *balanced) render(ctx context.Context, p *picture, d shoot.Decisions) (err error) {
	p.rgb = raster.GetRGB(b.rgb.W(), b.rgb.H())
	if p.tone, err = b.view.Render(ctx, p.rgb, b.rgb, p.lights(d)); err != nil {
		raster.PutRGB(p.rgb)
	}
	return err
}

func warmths(d shoot.Decisions) [2]shoot.Warmth {
	return [2]shoot.Warmth{warmthOf(d.RoomWarmth), warmthOf(d.WindowWarmth)}
}

func warmthOf(w *shoot.Warmth) shoot.Warmth {
	if w == nil {
		return shoot.Warmth{}
	}
	return *w
}

func sameWarmth(a, b [2]shoot.Warmth) bool {
	for i := range a {
		if a[i].Mired != b[i].Mired || a[i].Duv != b[i].Duv {
			return false
		}
	}
	return true
}
