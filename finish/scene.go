package finish

import (
	"context"
	"fmt"
	"math"

	"mullion/bracket"
	"mullion/colour"
	"mullion/demosaic"
	"mullion/denoise"
	"mullion/finding"
	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/rawfile"
)

// Scene is the merged radiance of one view before anything is decided about it:
// linear BT.2020 with the colour of the light still in it, in camera geometry and
// the sensor's orientation. It is nowhere negative.
type Scene struct {
	RGB    *raster.RGB
	Merged *bracket.Radiance // its planes are spent; exposures, noise and findings remain
	Infos  []metadata.Info   // of the frames, in the order they were given
	Light  colour.XY         // of the camera's as-shot neutral; zero when unknown
	// Rendered is true for display files, which the camera has balanced already.
	Rendered bool
	Noise    denoise.Report // what noise was to be seen
	Findings []finding.Finding

	mosaics bool // every frame was a sensor's mosaic
	ceiling ceiling
}

// Merge decodes the frames at paths and merges them into a scene. Frames that
// can't be read are left out and become findings; it fails when none is left. clock
// may be nil.
func Merge(ctx context.Context, paths []string, clock *Clock) (*Scene, error) {
	s, err := mergeFrames(ctx, paths, clock)
	if err != nil {
		return nil, err
	}
	return s, s.develop(ctx, clock)
}

// mergeFrames is Merge without interpolation: the scene's pixels are still those of
// its merge, in the camera's colours.
func mergeFrames(ctx context.Context, paths []string, clock *Clock) (*Scene, error) {
	frames, findings, err := decode(ctx, paths, clock)
	if err != nil {
		return nil, err
	}
	defer func() {
		for _, f := range frames {
			if f != nil {
				f.Release()
			}
		}
	}()
	done := clock.Start("merge")
	merged, err := bracket.Merge(ctx, frames, bracket.Options{Reference: -1, Interpolate: interpolate})
	done()
	if err != nil {
		return nil, err
	}
	s := &Scene{Merged: merged, Findings: append(findings, merged.Findings...), mosaics: true}
	for i, f := range frames { // from here on only the merge is needed
		s.Infos = append(s.Infos, metadata.Info{})
		if f != nil {
			s.Infos[i] = f.Info
			s.mosaics = s.mosaics && f.Kind == rawfile.KindMosaic
			f.Release()
			frames[i] = nil
		}
	}
	return s, nil
}

// longest is the radiance at which the longest frame of the bracket is full; 0 without
// a used frame.
func (s *Scene) longest() float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, f := range s.Merged.Frames {
		if f.Used {
			lo, hi = min(lo, f.RefinedEV), max(hi, f.RefinedEV)
		}
	}
	if lo > hi {
		return 0
	}
	return float64(s.Merged.Clip) * math.Exp2(lo-hi)
}

// interpolate serves brackets whose frames moved against each other, each of which is
// interpolated by itself. A single frame's noise falls as the root of the signal, and
// its knee is at six times the black noise of a usual camera (thin dark things before a window turn to coloured dots with a higher one).
func interpolate(ctx context.Context, m *raster.Plane, cfa [2][2]uint8) (*raster.RGB, error) {
	return demosaic.Demosaic(ctx, m, cfa, demosaic.Flatten{Knee: 1. / 2048})
}

// decode reads the frames, as many at a time as there are cores. A frame that
// cannot be read is nil in the result and a finding beside it.
func decode(ctx context.Context, paths []string, clock *Clock) ([]*rawfile.Frame, []finding.Finding, error) {
	defer clock.Start("read")()
	frames := make([]*rawfile.Frame, len(paths))
	errs := make([]error, len(paths))
	each(ctx, len(paths), func(i int) { frames[i], errs[i] = rawfile.Decode(ctx, paths[i]) })
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	var findings []finding.Finding
	left := len(paths)
	for _, err := range errs {
		if err == nil {
			continue
		}
		left--
		findings = append(findings, finding.Finding{
			Code: "frame-unreadable", Severity: finding.Look,
			Message: fmt.Sprintf("The view was made without one frame: %v.", err),
			Value:   1, Unit: "frames",
		})
	}
	if left == 0 {
		return nil, nil, fmt.Errorf("none of its %d frames can be read: %w", len(paths), firstOf(errs))
	}
	return frames, findings, nil
}

func firstOf(errs []error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// develop interpolates the merge and takes it from camera RGB to scene colour.
func (s *Scene) develop(ctx context.Context, clock *Clock) error {
	m := s.Merged
	s.RGB = m.RGB
	if m.Mosaic != nil {
		done := clock.Start("demosaic")
		rgb, err := demosaic.Demosaic(ctx, m.Mosaic, m.CFA, demosaic.Flatten{Knee: knee(m)})
		done()
		if err != nil {
			return err
		}
		raster.Put(m.Mosaic)
		m.Mosaic = nil
		s.RGB = rgb
	}
	m.RGB = nil
	if err := s.denoise(ctx, clock); err != nil {
		return err
	}
	defer clock.Start("colour")()
	if m.Space == bracket.BT2020 {
		s.Rendered = true
		s.ceiling = ceiling{colour.Identity, m.Clip, gone(true)}
		if err := bracket.WhitenRendered(ctx, s.RGB, m.Clip); err != nil {
			return err
		}
		return raster.Floor(ctx, s.RGB, lowest(m))
	}
	return s.fromCamera(ctx)
}

// fromCamera mends what clipped and applies the camera's matrix.
func (s *Scene) fromCamera(ctx context.Context) error {
	m := s.Merged
	c := m.Camera
	toScene, light, err := colour.CameraToScene(c.Matrix1, c.Matrix2, c.CCT1, c.CCT2, c.Neutral)
	if err != nil {
		return err
	}
	s.Light = light
	neutral := c.Neutral
	if neutral == (colour.Vec3{}) {
		inverse, _ := toScene.Inverse()
		neutral = inverse.Apply(colour.Vec3{1, 1, 1})
	}
	if err := bracket.Whiten(ctx, s.RGB, m.Clip, neutral); err != nil {
		return err
	}
	if back, ok := toScene.Inverse(); ok {
		s.ceiling = ceiling{back, m.Clip, gone(false)}
	}
	if !c.Known {
		s.Findings = append(s.Findings, finding.Finding{
			Code: "camera-unknown", Severity: finding.Look,
			Message: fmt.Sprintf("The colours of the camera %q are not known to this program's raw library (version %s), so an average camera's are used; a newer library or DNG files will do better.", m.Info.Model, rawfile.Version()),
		})
	}
	return raster.Transform(ctx, s.RGB, toScene, lowest(m))
}

// knee is where the merge's noise stops to follow its signal: a few standard
// deviations above black. Without a noise model it is ten stops below clipping.
func knee(m *bracket.Radiance) float32 {
	if sigma := blackNoise(m); sigma > 0 {
		return 6 * sigma
	}
	return m.Clip / 1024
}

// lowest is the smallest value a scene holds: a quarter of the noise at black. The
// stations after this one work on logarithms, where a zero would outweigh its
// neighbours.
func lowest(m *bracket.Radiance) float32 {
	if sigma := blackNoise(m); sigma > 0 {
		return sigma / 4
	}
	return m.Clip * 1e-6
}

func blackNoise(m *bracket.Radiance) float32 {
	if m.Noise == nil {
		return 0
	}
	sigma := float32(math.Sqrt(float64(m.Noise.VarAt(0))))
	if !(sigma > m.Clip*1e-8 && sigma < m.Clip/16) {
		return 0
	}
	return sigma
}
