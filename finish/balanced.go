package finish

import (
	"context"

	"mullion/internal/raster"
	"mullion/shoot"
	"mullion/tone"
	"mullion/window"
)

// balanced is the radiance for the light that was decided to count as white, and what
// tone has seen in it as it was measured. A decision about warmth changes colours and
// keeps the luminance of white, so it changes no level: nothing is looked at again for
// it, nor for a change of light.
type balanced struct {
	with [2]shoot.Warmth
	rgb  *raster.RGB // another's when nothing was decided
	view *tone.View
}

// balanceFor looks at the radiance of pic and warms it as decided.
func balanceFor(ctx context.Context, pic *picture, outside *window.Map, d shoot.Decisions, size tone.Fineness) (*balanced, error) {
	view, err := tone.Analyse(ctx, pic.rgb, outside, size)
	if err != nil {
		return nil, err
	}
	b := &balanced{rgb: pic.rgb, view: view}
	if err := b.warm(ctx, pic, outside, d); err != nil {
		b.release(pic.rgb)
		return nil, err
	}
	return b, nil
}

// warm makes the radiance of pic that for what was decided about warmth. After an error
// b holds what it held or a picture to be made again.
func (b *balanced) warm(ctx context.Context, pic *picture, outside *window.Map, d shoot.Decisions) error {
	with := warmths(d)
	if sameWarmth(b.with, with) {
		return nil
	}
	to := b.rgb
	if to == pic.rgb {
		to = raster.GetRGB(pic.rgb.W(), pic.rgb.H())
	}
	b.with, b.rgb = [2]shoot.Warmth{}, pic.rgb
	if warms(d) {
		if err := pic.warm(ctx, to, coverage(outside), d); err != nil {
			raster.PutRGB(to)
			return err
		}
		b.rgb = to
	} else {
		raster.PutRGB(to)
	}
	b.with = with
	return nil
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
