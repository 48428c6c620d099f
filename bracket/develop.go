package bracket

import (
	"context"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// picture is one frame as linear RGB (1 = clipping) with the trust (0..1) in every
// pixel: 0 where a channel clips or came from something clipped.
type picture struct {
	rgb   *raster.RGB
	trust *raster.Plane
}

func (p picture) release() {
	raster.PutRGB(p.rgb)
	raster.Put(p.trust)
}

// develop makes the picture of a shot in its own geometry.
func (m *merger) develop(ctx context.Context, s *shot) (picture, error) {
	p := picture{trust: raster.Get(s.w, s.h)}
	var err error
	radius := 1 // how far a clipped sample reaches
	switch s.frame.Kind {
	case rawfile.KindMosaic:
		radius = 3
		err = m.developMosaic(ctx, s, &p)
	case rawfile.KindCameraRGB:
		p.rgb = s.frame.RGB.Clone()
		err = trustRGB(ctx, p, s.fade(1))
	default:
		p.rgb = raster.GetRGB(s.w, s.h)
		err = developCoded(ctx, s, p)
	}
	if err != nil {
		return p, err
	}
	return p, distrust(ctx, p.trust, radius)
}

func (m *merger) developMosaic(ctx context.Context, s *shot, p *picture) error {
	f := s.frame.Mosaic
	plane := raster.Get(s.w, s.h)
	defer raster.Put(plane)
	fd := s.fade(1)
	err := raster.Bands(ctx, s.h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			in, out, tr := f.Pix[y*f.W:y*f.W+f.W], plane.Row(y), p.trust.Row(y)
			for x, v := range in {
				b := f.Black[y&1][x&1]
				n := (float32(v) - b) / (f.White - b)
				out[x] = min(1, n)
				tr[x] = float32(fd.at(float64(n)))
			}
		}
	})
	if err != nil {
		return err
	}
	if m.opt.Interpolate != nil {
		p.rgb, err = m.opt.Interpolate(ctx, plane, f.CFA)
	} else {
		p.rgb, err = interpolate(ctx, plane, f.CFA)
	}
	return err
}

func trustRGB(ctx context.Context, p picture, fd fade) error {
	return raster.Bands(ctx, p.trust.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r, g, b, tr := p.rgb[0].Row(y), p.rgb[1].Row(y), p.rgb[2].Row(y), p.trust.Row(y)
			for x := range tr {
				tr[x] = float32(fd.at(float64(max(r[x], g[x], b[x]))))
			}
		}
	})
}

// codeFade is the fade of rendered files, in codes: their curve flattens before it
// clips, so a step there is a large step of light.
var codeFade = fade{0.86, 0.975}

func developCoded(ctx context.Context, s *shot, p picture) error {
	in := s.frame.Coded.RGB
	return raster.Bands(ctx, s.h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			tr := p.trust.Row(y)
			clear(tr)
			for c := range 3 {
				code, out := in[c].Row(y), p.rgb[c].Row(y)
				for x, v := range code {
					out[x] = s.curves.at(c, v)
					tr[x] = max(tr[x], v)
				}
			}
			for x, v := range tr {
				tr[x] = float32(codeFade.at(float64(v)))
			}
		}
	})
}

// beside is what is left of the trust in a pixel beside a clipped one: no match for
// a frame that sees it well, but more than one that hardly sees it at all.
const beside = 1e-3

// distrust spreads the distrust in clipped pixels by r.
func distrust(ctx context.Context, p *raster.Plane, r int) error {
	own := p.Clone()
	defer raster.Put(own)
	if err := erode(ctx, p, r); err != nil {
		return err
	}
	for y := range p.H {
		row, o := p.Row(y), own.Row(y)
		for x, v := range row {
			if w := beside * o[x]; v < w {
				row[x] = w
			}
		}
	}
	return nil
}

// erode replaces every sample by the least within r, so that distrust spreads.
func erode(ctx context.Context, p *raster.Plane, r int) error {
	tmp := raster.Get(p.W, p.H)
	defer raster.Put(tmp)
	if err := raster.Bands(ctx, p.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			in, out := p.Row(y), tmp.Row(y)
			for x := range out {
				v := in[x]
				for i := max(0, x-r); i <= min(len(in)-1, x+r); i++ {
					if in[i] < v {
						v = in[i]
					}
				}
				out[x] = v
			}
		}
	}); err != nil {
		return err
	}
	return raster.Bands(ctx, p.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			out := p.Row(y)
			copy(out, tmp.Row(y))
			for j := max(0, y-r); j <= min(p.H-1, y+r); j++ {
				for x, v := range tmp.Row(j) {
					if v < out[x] {
						out[x] = v
					}
				}
			}
		}
	})
}
