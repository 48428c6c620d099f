package finish

import (
	"context"

	"mullion/internal/raster"
	"mullion/shoot"
	"mullion/window"
)

// Unbent finishes the scene as Run does but leaves out the resampling, so that the
// picture lies on the view's frames pixel by pixel, as measures of quality need it:
// linear light, sRGB primaries, upright. It consumes the scene's radiance. The second
// result is the map of the windows, nil without.
func (s *Scene) Unbent(ctx context.Context, d shoot.Decisions) (*raster.RGB, *window.Map, error) {
	p := &picture{scene: s, clock: &Clock{}, rgb: upright(s.RGB, s.Merged.Info.Orientation)}
	raster.PutRGB(s.RGB)
	s.RGB = nil
	outside, err := p.finish(ctx, d)
	return p.rgb, outside, err
}

// Upright is a copy of the scene's radiance as it is seen upright.
func (s *Scene) Upright() *raster.RGB { return upright(s.RGB, s.Merged.Info.Orientation) }
