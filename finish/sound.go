package finish

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"

	"mullion/card/disk"
	"mullion/internal/raster"
	"mullion/plumb"
	"mullion/rawfile"
	"mullion/removal/dust"
	"mullion/shoot"
	"mullion/tone"
	"mullion/whitebalance"
)

// sounding is what one view can tell the others before any picture is made: the light
// it saw, the levels of its room, its lines. It is measured on the merge at reduced size
// and is a few kilobytes.
type sounding struct {
	Light  whitebalance.Evidence
	Levels *tone.Anchors // nil when the unit of radiance is the view's own
	Lines  plumb.Evidence
	Dust   *dust.Evidence // nil when nothing could be read
}

// sounding at this long edge costs a tenth of a second and finds the same light as at
// full size.
const soundEdge = 1600

// soundingEngine is raised when the same frames would give other soundings.
const soundingEngine = "17"

// reading is the step of a run that sounds the views.
const reading = "reading views"

// sound makes or recalls the sounding of every view of the shoot. A view that can't be
// merged has none; finishing it will say why. Merges of views that are still to be
// finished wait in the spool.
func (l *line) sound(ctx context.Context) error {
	views := l.shoot.Doc().Views
	l.soundings = map[string]*sounding{}
	var due []shoot.View
	for _, v := range views {
		if s := recallSounding(l.shoot.Cache(), v); s != nil {
			l.soundings[v.ID] = s
		} else {
			due = append(due, v)
		}
	}
	if len(due) == 0 {
		return nil
	}
	l.job.tell(Event{Step: reading, Total: len(due)})
	for i, v := range due {
		if err := l.soundOne(ctx, v); err != nil {
			return err
		}
		l.job.tell(Event{Step: reading, Done: i + 1, Total: len(due), Note: v.ID})
	}
	rawfile.Rest()
	return nil
}

// soundOne merges one view and sounds it.
func (l *line) soundOne(ctx context.Context, v shoot.View) error {
	clock := &Clock{}
	scene, err := mergeFrames(ctx, l.framePaths(v), clock)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return nil // finishing the view comes to the same error and reports it
	}
	end := clock.Start("sound")
	s, err := scene.sound(ctx)
	end()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err == nil {
		if s.Dust == nil {
			s.Dust = l.dustOf(ctx, v)
		}
		l.soundings[v.ID] = s
		if err := l.rememberSounding(v, s); err != nil {
			return err
		}
	}
	if v.Decisions.LeaveOut {
		for _, p := range scene.planes() {
			raster.Put(*p)
		}
		return nil
	}
	l.spool.put(v.ID, scene, clock)
	return nil
}

func (l *line) framePaths(v shoot.View) []string {
	var paths []string
	for _, f := range v.Frames {
		paths = append(paths, l.shoot.Path(f.Path))
	}
	return paths
}

// soundingPath is where a view's sounding is kept. It can be made again.
func soundingPath(cache string, v shoot.View) (string, error) {
	key, err := shoot.Key(v.Frames, nil, nil, soundingEngine)
	return filepath.Join(cache, "soundings", key+".json"), err
}

func recallSounding(cache string, v shoot.View) *sounding {
	path, err := soundingPath(cache, v)
	if err != nil {
		return nil
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil
	}
	s := &sounding{}
	if json.Unmarshal(b, s) != nil {
		return nil
	}
	return s
}

func (l *line) rememberSounding(v shoot.View, s *sounding) error {
	path, err := soundingPath(l.shoot.Cache(), v)
	if err != nil {
		return err
	}
	b, err := json.Marshal(s)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return disk.WriteFile(disk.OS, path, b)
}

// sound measures a merge that is not interpolated yet, and leaves it as it is.
func (s *Scene) sound(ctx context.Context) (*sounding, error) {
	info := s.Merged.Info
	out := &sounding{}
	var half *raster.RGB
	if m := s.Merged; m.Mosaic != nil {
		var err error
		if half, err = cells(ctx, m.Mosaic, m.CFA); err != nil {
			return nil, err
		}
		defer raster.PutRGB(half)
		if out.Dust, err = dust.Look(ctx, half, m.Clip, dustGroup(info)); err != nil {
			return nil, err
		}
	}
	small, err := s.small(ctx, half, soundEdge)
	if err != nil {
		return nil, err
	}
	if out.Lines, err = evidenceOf(ctx, small.RGB, info); err != nil {
		return nil, err
	}
	p := &picture{scene: small, rgb: upright(small.RGB, info.Orientation)}
	raster.PutRGB(small.RGB)
	defer p.release()
	outside, doubt, err := p.look(ctx)
	if err != nil {
		return nil, err
	}
	defer raster.Put(doubt, coverage(outside))
	out.Light = p.light.Evidence()
	if err := p.light.Apply(ctx, p.rgb, coverage(outside)); err != nil {
		return nil, err
	}
	levels, err := tone.Measure(ctx, p.rgb, outside)
	if s.Merged.Absolute {
		out.Levels = &levels
	}
	return out, err
}

// small returns a scene like s, in scene colour and shrunk to about the given long edge
// without interpolation: from half, in which each two by two photosites of a mosaic are
// one pixel (nil without a mosaic). Frames that are not much larger than that are
// interpolated.
func (s *Scene) small(ctx context.Context, half *raster.RGB, long int) (*Scene, error) {
	m := *s.Merged
	t := *s
	t.Merged, t.Findings = &m, nil
	from := m.RGB
	if m.Mosaic != nil {
		if max(m.Mosaic.W, m.Mosaic.H) < 2*long {
			m.Mosaic = m.Mosaic.Clone()
			return &t, t.develop(ctx, nil)
		}
		// Shrinking takes the noise out, and a denoiser told of full-size pixels would
		// take texture.
		m.Mosaic, from, t.mosaics = nil, half, false
	}
	w, h := within(from.W(), from.H(), long)
	m.RGB = &raster.RGB{}
	for c := range from {
		var err error
		if m.RGB[c], err = raster.Shrink(ctx, from[c], w, h); err != nil {
			return nil, err
		}
	}
	return &t, t.develop(ctx, nil)
}

// cells takes each two by two photosites of a mosaic as one pixel.
func cells(ctx context.Context, m *raster.Plane, cfa [2][2]uint8) (*raster.RGB, error) {
	out := raster.GetRGB(m.W/2, m.H/2)
	err := raster.Bands(ctx, out.H(), func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			var to [3][]float32
			for c := range to {
				to[c] = out[c].Row(y)
			}
			up, down := m.Row(2*y), m.Row(2*y+1)
			for x := range to[0] {
				var sum, n [3]float32
				for i, v := range [4]float32{up[2*x], up[2*x+1], down[2*x], down[2*x+1]} {
					c := cfa[i/2][i%2]
					sum[c] += v
					n[c]++
				}
				for c := range to {
					to[c][x] = sum[c] / n[c]
				}
			}
		}
	})
	return out, err
}
