package bracket

import (
	"context"

	"mullion/internal/raster"
)

// seams measures, along the feathers of moving regions, by how much the merge is brighter
// there than the one frame that is taken within, and takes it off. In the frames of a
// sensor that is nothing. What cameras make of colours in developed pictures is no curve
// of a channel, so that one frame's walls may be a twentieth brighter or bluer than the
// merge beside them, which shows as the outline of the region. The difference along the
// rim is carried on into the region, smoothly, as gradients of a cut-out are into another
// picture (Perez, Gangnet & Blake, "Poisson image editing", SIGGRAPH 2003; here by blurs of
// growing width instead of an equation).
type seams struct {
	w, h int          // cells
	off  [3][]float32 // sum of weighted log2(merge / frame), by colour
	n    []float32    // and of the weights
}

const (
	// seamCell is the size of a cell in pixels. Tiles are whole cells, so that none is
	// written from two sides.
	seamCell = 16
	// seamMost is the difference, in EV, above which something else is at work: what
	// moved lies in the feather, or one of the two is near clipping.
	seamMost = 0.25
	// seamFew is the weight from which a cell has a say.
	seamFew = 4
)

func newSeams(w, h int) *seams {
	s := &seams{w: (w + seamCell - 1) / seamCell, h: (h + seamCell - 1) / seamCell}
	s.n = make([]float32, s.w*s.h)
	for c := range s.off {
		s.off[c] = make([]float32, s.w*s.h)
	}
	return s
}

// compare adds a row of a tile, whose softness is soft, before it is mixed.
func (s *seams) compare(t *tile, soft []float32, y int, clip float32) {
	var in, alone [3][]float32
	for c := range in {
		in[c], alone[c] = t.sum[c].Row(y), t.alone[c].Row(y)
	}
	row := (t.y0 + y) / seamCell * s.w
	for x, f := range soft {
		if f < 0.1 || f > 0.9 || alone[0][x] == unset {
			continue
		}
		var d [3]float32
		ok := true
		for c := range d {
			a, b := in[c][x], alone[c][x]
			if !(a > 0 && b > 0 && max(a, b) < wholly*clip) {
				ok = false
				break
			}
			d[c] = log2(a / b)
			ok = ok && abs(d[c]) < seamMost
		}
		if !ok {
			continue
		}
		i := row + (t.x0+x)/seamCell
		weight := 4 * f * (1 - f)
		s.n[i] += weight
		for c := range d {
			s.off[c][i] += weight * d[c]
		}
	}
}

// fields are the differences over the whole picture, by colour, in EV on cells: near a
// rim that of the rim, elsewhere that of the nearest rims. Nil when there are none.
func (s *seams) fields(ctx context.Context) ([]*raster.Plane, error) {
	found := false
	den, blurred := raster.New(s.w, s.h), raster.New(s.w, s.h)
	for i, n := range s.n {
		if n >= seamFew {
			den.Pix[i], found = 1, true
		}
	}
	if !found {
		return nil, ctx.Err()
	}
	weights := raster.New(s.w, s.h)
	var out []*raster.Plane
	for c := range s.off {
		num, sum := raster.New(s.w, s.h), raster.New(s.w, s.h)
		for i, n := range s.n {
			if n >= seamFew {
				num.Pix[i] = s.off[c][i] / n
			}
		}
		say := float32(1)
		for _, sigma := range []float64{1.5, 4, 10, 25} {
			if err := raster.Gauss(ctx, blurred, num, sigma); err != nil {
				return nil, err
			}
			for i, v := range blurred.Pix {
				sum.Pix[i] += say * v
			}
			if c == 0 {
				if err := raster.Gauss(ctx, blurred, den, sigma); err != nil {
					return nil, err
				}
				for i, v := range blurred.Pix {
					weights.Pix[i] += say * v
				}
			}
			say *= 0.03
		}
		for i := range sum.Pix {
			sum.Pix[i] /= weights.Pix[i] + 1e-9
		}
		out = append(out, sum)
	}
	return out, nil
}

// close takes the differences off the moving regions of a merged picture.
func (s *seams) close(ctx context.Context, img *raster.RGB, r *regions, clip float32) error {
	fields, err := s.fields(ctx)
	if err != nil || fields == nil {
		return err
	}
	return raster.Bands(ctx, img.H(), func(y0, y1 int) {
		soft := make([]float32, img.W())
		for y := y0; y < y1; y++ {
			if !r.softRow(soft, 0, y) {
				continue
			}
			for c := range img {
				row := img[c].Row(y)
				at := cellRow(fields[c], y)
				for x, f := range soft {
					if f <= 0 {
						continue
					}
					// What clips stays where it is.
					k := (clip - row[x]) / (clip * (1 - wholly))
					if k <= 0 {
						continue
					}
					// The row is merge + f (frame - merge) with frame = merge / g.
					inv := exp2(float64(-min(1, k) * at(x)))
					row[x] /= 1 + f*(inv-1)
				}
			}
		}
	})
}

// cellRow reads a field of cells at the pixels of a row, bilinearly.
func cellRow(p *raster.Plane, y int) func(x int) float32 {
	v := max(0, min(float32(p.H-1), (float32(y)+0.5)/seamCell-0.5))
	y0 := int(v)
	v -= float32(y0)
	a, b := p.Row(y0), p.Row(min(p.H-1, y0+1))
	return func(x int) float32 {
		u := max(0, min(float32(p.W-1), (float32(x)+0.5)/seamCell-0.5))
		i := int(u)
		j := min(p.W-1, i+1)
		u -= float32(i)
		return (a[i]*(1-u)+a[j]*u)*(1-v) + (b[i]*(1-u)+b[j]*u)*v
	}
}
