package bracket

import (
	"context"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// rect is a part of a frame in pixels: columns x0 to x1, rows y0 to y1.
type rect struct{ x0, y0, x1, y1 int }

func (r rect) w() int { return r.x1 - r.x0 }
func (r rect) h() int { return r.y1 - r.y0 }

// grown is r with d more on every side, inside a frame of w x h and beginning on an
// even row and column, where the colour pattern begins too.
func (r rect) grown(d, w, h int) rect {
	return rect{max(0, r.x0-d) &^ 1, max(0, r.y0-d) &^ 1, min(w, r.x1+d), min(h, r.y1+d)}
}

// picture is a part of one frame as linear RGB (1 = clipping) with the trust (0..1)
// in every pixel: 0 where a channel clips.
type picture struct {
	rgb   *raster.RGB
	trust *raster.Plane
	near  *raster.Plane // how close something clipped is, 0..1; nil where nothing is
}

func (p picture) release() {
	raster.PutRGB(p.rgb)
	raster.Put(p.trust, p.near)
}

// reach is how far, in pixels, interpolation carries what clips into what does not,
// and pixelsBeyond how many pixels around a part it needs to see (package demosaic
// looks 11 far).
const pixelsBeyond = 12

func (s *shot) reach() int {
	if s.frame.Kind == rawfile.KindMosaic {
		return 3
	}
	return 2
}

// smear is the error, as a share of the clipping point, of a pixel that was
// interpolated beside a clipped one: the guess takes the clipped sample's colour,
// which is none. Counted as a variance it leaves the pixel to the next darker frame
// unless that one hardly sees it at all. Of the size found beside the windows of the
// rendered house.
const smear = 0.03

// develop makes the picture of a part of a shot in the shot's own geometry. It
// covers at least the part asked for; where it begins is returned with it.
func (m *merger) develop(ctx context.Context, s *shot, part rect) (p picture, at rect, err error) {
	at = part
	switch s.frame.Kind {
	case rawfile.KindMosaic:
		at = part.grown(pixelsBeyond, s.w, s.h)
		p.trust = raster.Get(at.w(), at.h())
		err = m.developMosaic(ctx, s, &p, at)
	case rawfile.KindCameraRGB:
		p = picture{rgb: raster.GetRGB(at.w(), at.h()), trust: raster.Get(at.w(), at.h())}
		copyRGB(p, s.frame.RGB, at, s.fade(1))
	default:
		p = picture{rgb: raster.GetRGB(at.w(), at.h()), trust: raster.Get(at.w(), at.h())}
		if p.near, err = developCoded(ctx, s, p, at); err == nil {
			err = distrust(ctx, p.trust, s.beside())
		}
		return p, at, err
	}
	if err == nil {
		p.near, err = nearness(ctx, p.trust, s.reach())
	}
	if err == nil && p.near != nil {
		err = distrust(ctx, p.trust, s.beside())
	}
	return p, at, err
}

// beside is what is left of the trust in the very neighbour of a clipped pixel, which
// interpolation may have made anything of: it is taken where no other frame sees more
// than noise. (One photosite of two that clip beside each other would else leave a
// dotted line along windows.) In a rendered file it is only sharpened; and all frames
// but the darkest clip there.
func (s *shot) beside() float32 {
	if s.frame.Kind == rawfile.KindDisplay {
		return 0.05
	}
	return 1e-3
}

func distrust(ctx context.Context, trust *raster.Plane, beside float32) error {
	own := trust.Clone()
	defer raster.Put(own)
	if err := erode(ctx, trust, 1); err != nil {
		return err
	}
	for y := range own.H {
		row := trust.Row(y)
		for x, v := range own.Row(y) {
			if w := beside * v; row[x] < w {
				row[x] = w
			}
		}
	}
	return nil
}

func (m *merger) developMosaic(ctx context.Context, s *shot, p *picture, at rect) (err error) {
	f := s.frame.Mosaic
	plane := raster.Get(at.w(), at.h())
	defer raster.Put(plane)
	fd := s.fade(1)
	lo := float32(fd.lo)
	for y := at.y0; y < at.y1; y++ {
		in, out, tr := f.Pix[y*f.W+at.x0:y*f.W+at.x1], plane.Row(y-at.y0), p.trust.Row(y-at.y0)
		black := f.Black[y&1]
		scale := [2]float32{1 / (f.White - black[0]), 1 / (f.White - black[1])}
		out, tr = out[:len(in)], tr[:len(in)]
		for x, v := range in { // at.x0 is even
			n := (float32(v) - black[x&1]) * scale[x&1]
			tr[x] = 1
			if n > lo {
				tr[x] = float32(fd.at(float64(n)))
				if n > 1 {
					n = 1
				}
			}
			out[x] = n
		}
	}
	m.hot.mend(plane, at)
	if m.opt.Interpolate != nil {
		p.rgb, err = m.opt.Interpolate(ctx, plane, f.CFA)
	} else {
		p.rgb, err = interpolate(ctx, plane, f.CFA)
	}
	return err
}

func copyRGB(p picture, src *raster.RGB, at rect, fd fade) {
	for y := range at.h() {
		for c := range src {
			copy(p.rgb[c].Row(y), src[c].Row(at.y0 + y)[at.x0:at.x1])
		}
		r, g, b, tr := p.rgb[0].Row(y), p.rgb[1].Row(y), p.rgb[2].Row(y), p.trust.Row(y)
		for x := range tr {
			tr[x] = float32(fd.at(float64(max(r[x], g[x], b[x]))))
		}
	}
}

// codeFade is the fade of rendered files, in codes: their curve flattens before it
// clips, so a step there is a large step of light.
var codeFade = fade{0.86, 0.975}

// developCoded linearises a part of a rendered file and returns how near every pixel
// is to something much brighter, clipped or not: the file holds its colours at half
// the size (ITU-T T.81 allows it, and most cameras do it), so that a window's colour
// lies two pixels wide over its frame, which is dark enough to show it.
func developCoded(ctx context.Context, s *shot, p picture, at rect) (*raster.Plane, error) {
	in := s.frame.Coded.RGB
	near := raster.Get(at.w(), at.h()) // first the largest code of a pixel
	for y := range at.h() {
		top := near.Row(y)
		clear(top)
		for c := range 3 {
			code, out := in[c].Row(at.y0 + y)[at.x0:at.x1], p.rgb[c].Row(y)
			for x, v := range code {
				out[x] = s.curves.at(c, v)
				if v > top[x] {
					top[x] = v
				}
			}
		}
		tr := p.trust.Row(y)
		for x, v := range top {
			tr[x] = 1
			if v > float32(codeFade.lo) {
				tr[x] = float32(codeFade.at(float64(v)))
			}
		}
	}
	around := near.Clone()
	defer raster.Put(around)
	if err := dilate(ctx, around, s.reach()); err != nil {
		return near, err
	}
	for y := range near.H {
		n := near.Row(y)
		for x, v := range around.Row(y) {
			step := (v - n[x] - bleedFrom) * (1 / (bleedFull - bleedFrom))
			if v > float32(codeFade.lo) {
				if d := 1 - float32(codeFade.at(float64(v))); d > step {
					step = d
				}
			}
			n[x] = max(0, min(1, step))
		}
	}
	return near, nil
}

// Steps in code, of full scale, from which colours bleed enough to notice, and from
// which they count as bled.
const (
	bleedFrom = 0.15
	bleedFull = 0.4
)

// nearness is the largest distrust within r of every pixel, or nil when all are
// fully trusted.
func nearness(ctx context.Context, trust *raster.Plane, r int) (*raster.Plane, error) {
	any := false
	for y := 0; y < trust.H && !any; y++ {
		for _, v := range trust.Row(y) {
			if v < 1 {
				any = true
				break
			}
		}
	}
	if !any {
		return nil, nil
	}
	p := trust.Clone()
	if err := erode(ctx, p, r); err != nil {
		return nil, err
	}
	for y := range p.H {
		row := p.Row(y)
		for x, v := range row {
			row[x] = 1 - v
		}
	}
	return p, nil
}
