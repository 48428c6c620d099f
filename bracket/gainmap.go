package bracket

import (
	"context"

	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/rawfile"
)

// even applies the gain maps that a file brings along (see [metadata.GainMap]) to the
// merged radiance. All frames of a bracket have the same, so it is done once, after the
// merge, where every sample has been weighted by the noise with which it was read, and
// before the mosaic is interpolated. As the specification has it nothing is
// raised above what clips. Noise grows with the gain.
func (m *merger) even(ctx context.Context) error {
	gains := m.ref.frame.Info.Optics.Gains
	if gains == nil {
		return nil
	}
	out, mosaic := m.out, m.ref.frame.Mosaic
	for i := range gains.Maps {
		if out.Mosaic == nil {
			break
		}
		if err := evenMosaic(ctx, out.Mosaic, &gains.Maps[i], out.CFA, out.Clip); err != nil {
			return err
		}
	}
	if out.RGB != nil && out.Space == CameraRGB {
		if err := evenRGB(ctx, out.RGB, gains, mosaic, out.Clip); err != nil {
			return err
		}
	}
	m.out.Louder = m.out.Louder.raised(gains, mosaic, m.ref.w, m.ref.h)
	return nil
}

// part is the samples of a row of w that a map is for: from lo to hi, every step-th.
func part(g *metadata.GainMap, y, w int) (lo, hi, step int) {
	if y < g.Top || y >= g.Bottom || (y-g.Top)%g.RowPitch != 0 {
		return 0, 0, 1
	}
	return g.Left, min(g.Right, w), g.ColPitch
}

func evenMosaic(ctx context.Context, p *raster.Plane, g *metadata.GainMap, cfa [2][2]uint8, clip float32) error {
	return raster.Bands(ctx, p.H, func(y0, y1 int) {
		var gain [3][]float32
		for c := range gain {
			gain[c] = make([]float32, p.W)
		}
		for y := y0; y < y1; y++ {
			lo, hi, step := part(g, y, p.W)
			if lo >= hi || !g.Colours && g.Plane > 0 {
				continue
			}
			for c := range gain {
				if c == 0 || g.MapPlanes > 1 {
					g.Row(gain[c], c, y, p.W, p.H)
				} else {
					copy(gain[c], gain[0])
				}
			}
			row := p.Row(y)
			for x := lo; x < hi; x += step {
				c := int(cfa[y&1][x&1])
				if !g.Colours {
					row[x] = min(clip, row[x]*gain[0][x])
				} else if c >= g.Plane && c < g.Plane+g.Planes {
					row[x] = min(clip, row[x]*gain[c][x])
				}
			}
		}
	})
}

// evenRGB is evenMosaic for a bracket whose frames were interpolated before they were
// merged. Frames that were moved by some pixels are taken to have the reference's gain,
// which changes by less than a thousandth over so little.
func evenRGB(ctx context.Context, p *raster.RGB, gains *metadata.Gains, mosaic *rawfile.Mosaic, clip float32) error {
	w, h := p.W(), p.H()
	return raster.Bands(ctx, h, func(y0, y1 int) {
		a := newAverage(gains, mosaic, w, h)
		for y := y0; y < y1; y++ {
			for c := range p {
				gain := a.row(c, y)
				row := p[c].Row(y)
				for x, v := range row {
					row[x] = min(clip, v*gain[x])
				}
			}
		}
	})
}

// average works out the gain of a colour: the mean over its places in the mosaic's cell.
type average struct {
	gains            *metadata.Gains
	cfa              [2][2]uint8
	w, h             int
	one, place, mean []float32
}

// newAverage returns an average for a picture of w x h; mosaic is nil for a sensor without.
func newAverage(gains *metadata.Gains, mosaic *rawfile.Mosaic, w, h int) *average {
	a := &average{gains: gains, cfa: [2][2]uint8{{0, 1}, {1, 2}}, w: w, h: h,
		one: make([]float32, w), place: make([]float32, w), mean: make([]float32, w)}
	if mosaic != nil {
		a.cfa = mosaic.CFA
	}
	return a
}

// row returns the gains of a colour in one row, until it is called again.
func (a *average) row(colour, y int) []float32 {
	clear(a.mean)
	places := float32(0)
	for v := range 2 {
		for u := range 2 {
			if int(a.cfa[v][u]) != colour {
				continue
			}
			places++
			for x := range a.place {
				a.place[x] = 1
			}
			for i := range a.gains.Maps {
				g := &a.gains.Maps[i]
				plane := 0
				if g.Colours {
					plane = colour
				}
				// A map with a pitch of two is for one place of the cell.
				other := !g.Colours && ((v-g.Top)%min(g.RowPitch, 2) != 0 || (u-g.Left)%min(g.ColPitch, 2) != 0)
				if other || y < g.Top || y >= g.Bottom || plane < g.Plane || plane >= g.Plane+g.Planes {
					continue
				}
				g.Row(a.one, plane, y, a.w, a.h)
				for x := g.Left; x < min(g.Right, a.w); x++ {
					a.place[x] *= a.one[x]
				}
			}
			for x, k := range a.place {
				a.mean[x] += k
			}
		}
	}
	for x := range a.mean {
		a.mean[x] /= max(1, places)
	}
	return a.mean
}

// raised is l, which may be nil, with the noise that gain maps raise: what is multiplied
// by g has the variance g times that of a sample which was as bright from the start, for
// that is in proportion to the light.
func (l *Louder) raised(gains *metadata.Gains, mosaic *rawfile.Mosaic, w, h int) *Louder {
	if l == nil {
		const step = 32
		l = &Louder{W: (w + step - 1) / step, H: (h + step - 1) / step, Step: step}
		l.Scale = make([]float32, l.W*l.H)
		for i := range l.Scale {
			l.Scale[i] = 1
		}
	}
	const green = 1
	a := newAverage(gains, mosaic, w, h)
	for y := range l.H {
		row := a.row(green, min(y*l.Step+l.Step/2, h-1))
		for x := range l.W {
			l.Scale[y*l.W+x] *= max(1, sqrt(row[min(x*l.Step+l.Step/2, w-1)]))
		}
	}
	return l
}
