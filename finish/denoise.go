package finish

import (
	"context"
	"sync"

	"mullion/bracket"
	"mullion/demosaic"
	"mullion/denoise"
	"mullion/internal/raster"
)

// denoise takes out the noise that the picture would show, in place. It comes right
// after interpolation: the camera's channels are still independent there, the merge's
// prediction holds, and the resampling has not yet smeared one pixel's noise into the
// next. Rendered files are left alone, since the camera has smoothed them already and
// what it left can't be predicted; so are files interpolated elsewhere.
func (s *Scene) denoise(ctx context.Context, clock *Clock) error {
	m := s.Merged
	if !s.mosaics || m.Space != bracket.CameraRGB || blackNoise(m) == 0 {
		return nil
	}
	defer clock.Start("denoise")()
	var louder func(x, y int) float32
	if m.Louder != nil {
		louder = m.Louder.At
	}
	var err error
	s.Noise, err = denoise.Apply(ctx, s.RGB, denoise.Model{
		Variance: m.Noise.VarAt, Louder: louder, Clip: m.Clip, Spectrum: interpolatedNoise,
	})
	return err
}

// interpolatedNoise is measured once: what the interpolation makes of white noise.
var interpolatedNoise = sync.OnceValues(func() (*denoise.Spectrum, error) {
	return denoise.Interpolated(context.Background(), func(ctx context.Context, m *raster.Plane) (*raster.RGB, error) {
		return demosaic.Demosaic(ctx, m, [2][2]uint8{{0, 1}, {1, 2}}, demosaic.Flatten{Knee: 1. / 512})
	})
})
