package finish

import (
	"context"
	"fmt"
	"math"

	"mullion/finding"
	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/rawfile"
	"mullion/removal/dust"
	"mullion/shoot"
)

// dustOf is what a view says of dust by its middle frame alone; nil when that can't be
// read. Frames that moved against each other smear a shadow in their merge.
func (l *line) dustOf(ctx context.Context, v shoot.View) *dust.Evidence {
	best := -1
	for i, f := range v.Frames {
		if best < 0 || math.Abs(f.EV) < math.Abs(v.Frames[best].EV) {
			best = i
		}
	}
	if best < 0 {
		return nil
	}
	frame, err := rawfile.Decode(ctx, l.shoot.Path(v.Frames[best].Path))
	if err != nil {
		return nil
	}
	defer frame.Release()
	light, clip, err := halfSize(ctx, frame)
	if err != nil {
		return nil
	}
	defer raster.PutRGB(light)
	e, err := dust.Look(ctx, light, clip, dustGroup(frame.Info))
	if err != nil {
		return nil
	}
	return e
}

// dustGroup names what two views must share to have the same shadows.
func dustGroup(info metadata.Info) string {
	return fmt.Sprintf("%s, %s, f/%.1f", info.Make, info.Model, info.FNumber)
}

// halfSize is a frame's linear light at half its size (a mosaic's 2 x 2 cells) or, for
// files without a mosaic, whole; and where it clips. The planes come from the pool.
func halfSize(ctx context.Context, f *rawfile.Frame) (*raster.RGB, float32, error) {
	switch {
	case f.Mosaic != nil:
		return binned(ctx, f.Mosaic)
	case f.RGB != nil:
		out := raster.GetRGB(f.RGB.W(), f.RGB.H())
		for c, p := range f.RGB {
			for y := range p.H {
				copy(out[c].Row(y), p.Row(y))
			}
		}
		return out, 1, ctx.Err()
	}
	coded := f.Coded
	out := raster.GetRGB(coded.RGB.W(), coded.RGB.H())
	err := raster.Bands(ctx, out.H(), func(y0, y1 int) {
		for c, p := range coded.RGB {
			for y := y0; y < y1; y++ {
				to := out[c].Row(y)
				for x, v := range p.Row(y) {
					to[x] = coded.ToLinear[c](v)
				}
			}
		}
	})
	return out, 1, err
}

// binned makes one pixel of each cell of a Bayer mosaic; the two greens are averaged.
func binned(ctx context.Context, m *rawfile.Mosaic) (*raster.RGB, float32, error) {
	w, h := m.W/2, m.H/2
	out := raster.GetRGB(w, h)
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for c := range out {
				clear(out[c].Row(y))
			}
			for j := range 2 {
				row := m.Pix[(2*y+j)*m.W:][:m.W]
				for i := range 2 {
					c := m.CFA[j][i]
					scale := 1 / (m.White - m.Black[j][i])
					if c == 1 {
						scale /= 2
					}
					black, to := m.Black[j][i], out[c].Row(y)
					for x := range to {
						to[x] += max(0, float32(row[2*x+i])-black) * scale
					}
				}
			}
		}
	})
	return out, 1, err
}

// mendDust takes the shadows of dust out of the scene and says so.
func (p *picture) mendDust(ctx context.Context, spots []dust.Spot) error {
	if len(spots) == 0 {
		return nil
	}
	defer p.clock.Start("dust")()
	if err := dust.Mend(ctx, p.scene.RGB, spots); err != nil {
		return err
	}
	p.dust = len(spots)
	deepest := 0.
	for _, s := range spots {
		deepest = max(deepest, s.Depth())
	}
	what := "The shadow of 1 grain of dust on the sensor was taken out"
	if len(spots) > 1 {
		what = fmt.Sprintf("The shadows of %d grains of dust on the sensor were taken out", len(spots))
	}
	p.findings = append(p.findings, finding.Finding{
		Code: "dust-mended", Severity: finding.Note, Value: float64(len(spots)), Unit: "spots",
		Message: fmt.Sprintf("%s: it darkens the same place in several views, by up to %.0f %%. Have the sensor cleaned.", what, 100*(1-math.Exp2(-deepest))),
	})
	return nil
}
