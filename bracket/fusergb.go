package bracket

import (
	"context"
	"sync"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// Tiles of the reference are small enough that all that is done to them stays in the
// cache.
const tileW, tileH = 256, 128

// fuseRGB merges frames that moved, or that were never a mosaic, tile by tile: of
// every frame that a tile needs, the part that shows it is interpolated, moved and
// added. All three channels of a pixel share one weight: different weights would
// tint edges.
func (m *merger) fuseRGB(ctx context.Context) error {
	w, h := m.ref.w, m.ref.h
	out := raster.GetRGB(w, h)
	across, down := (w+tileW-1)/tileW, (h+tileH-1)/tileH
	if m.moved != nil && m.ref.frame.Kind == rawfile.KindDisplay {
		m.seams = newSeams(w, h)
	}
	var once sync.Once
	var failed error
	err := raster.BandsOf(ctx, across*down, 1, func(i, _ int) {
		x, y := i%across*tileW, i/across*tileH
		if err := m.fuseTile(ctx, out, rect{x, y, min(w, x+tileW), min(h, y+tileH)}); err != nil {
			once.Do(func() { failed = err })
		}
	})
	if err == nil {
		err = failed
	}
	if err == nil && m.seams != nil {
		err = m.seams.close(ctx, out, m.moved, m.out.Clip)
	}
	if err != nil {
		raster.PutRGB(out)
		return err
	}
	m.out.RGB = out
	if m.ref.frame.Kind == rawfile.KindDisplay {
		m.out.Space = BT2020
		return toBT2020(ctx, out, m.ref.frame.Coded.ToBT2020)
	}
	return nil
}

// tile is the sum over the frames of one part of the reference.
type tile struct {
	rect
	sum    *raster.RGB
	weight *raster.Plane
	alone  *raster.RGB // moving regions, from one frame each; nil where nothing moved
	soft   []float32
}

func (m *merger) fuseTile(ctx context.Context, out *raster.RGB, r rect) error {
	t := &tile{rect: r, sum: raster.GetRGB(r.w(), r.h()), weight: raster.Get(r.w(), r.h()), soft: make([]float32, r.w())}
	if m.moved != nil && m.moved.touch(r) {
		t.alone = raster.GetRGB(r.w(), r.h())
	}
	defer func() {
		raster.PutRGB(t.sum)
		if t.alone != nil {
			raster.PutRGB(t.alone)
		}
		raster.Put(t.weight)
	}()
	if err := m.addAll(ctx, t, m.needs(r)); err != nil {
		return err
	}
	if !t.complete() { // the proofs missed a pixel
		all := make([]rect, len(m.shots))
		for i := range all {
			all[i] = r
		}
		if err := m.addAll(ctx, t, all); err != nil {
			return err
		}
	}
	for y := range r.h() {
		wt := t.weight.Row(y)
		for c := range t.sum {
			row := t.sum[c].Row(y)
			for x := range row {
				row[x] /= wt[x]
			}
		}
		if t.alone != nil {
			m.moved.mixRow(t, t.soft, y, m.seams, m.out.Clip)
		}
		for c := range out {
			copy(out[c].Row(r.y0 + y)[r.x0:r.x1], t.sum[c].Row(y))
		}
	}
	return nil
}

// addAll adds the needed shots, darkest first.
func (m *merger) addAll(ctx context.Context, t *tile, need []rect) error {
	for c := range t.sum {
		t.sum[c].Fill(0)
	}
	t.weight.Fill(0)
	if t.alone != nil {
		t.alone[0].Fill(unset)
	}
	for i, s := range m.shots {
		r := need[i]
		if r.w() <= 0 || r.h() <= 0 {
			continue
		}
		p, ok, err := m.part(ctx, s, r)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		m.add(t, p, r, s, i == 0)
		if t.alone != nil {
			m.moved.take(t, p, r, s, i)
		}
		p.release()
	}
	return nil
}

func (t *tile) complete() bool {
	for y := range t.weight.H {
		for _, v := range t.weight.Row(y) {
			if v == 0 {
				return false
			}
		}
	}
	return true
}

// part is what a shot shows of a part of the reference, or false when that lies
// outside of it.
func (m *merger) part(ctx context.Context, s *shot, r rect) (picture, bool, error) {
	if s.warp.identity() {
		p, at, err := m.develop(ctx, s, r)
		if err != nil {
			return p, false, err
		}
		return p.cut(r.x0-at.x0, r.y0-at.y0, r.w(), r.h()), true, nil
	}
	to := m.locate(s.warp, r)
	defer to.release()
	from, ok := to.bounds(s.w, s.h)
	if !ok {
		return picture{}, false, nil
	}
	p, at, err := m.develop(ctx, s, from)
	if err != nil {
		return p, false, err
	}
	defer p.release()
	return p.move(to, at.x0, at.y0, s.w, s.h, s.lowestIsBlack()), true, nil
}

// cut takes a part out of a picture, which is given back.
func (p picture) cut(x, y, w, h int) picture {
	if x == 0 && y == 0 && w == p.trust.W && h == p.trust.H {
		return p
	}
	defer p.release()
	q := picture{rgb: &raster.RGB{}, trust: copied(p.trust, x, y, w, h)}
	for c := range q.rgb {
		q.rgb[c] = copied(p.rgb[c], x, y, w, h)
	}
	if p.near != nil {
		q.near = copied(p.near, x, y, w, h)
	}
	return q
}

func copied(p *raster.Plane, x, y, w, h int) *raster.Plane {
	q := raster.Get(w, h)
	for j := range h {
		copy(q.Row(j), p.Row(y + j)[x:x+w])
	}
	return q
}

// faint is the trust of the last frame left: it gives a value where no other does.
const faint = 1e-6

// add adds one frame's pixels of a part of the tile with weight t^2/Var, Var by the mean of the channels
// and by what interpolation carried over from clipped neighbours.
func (m *merger) add(t *tile, p picture, part rect, s *shot, darkest bool) {
	g := s.gain
	sl, o := float32(s.noise[1].s), float32(s.noise[1].o)
	inv := 1 / (g * g)
	dx, dy := part.x0-t.x0, part.y0-t.y0
	var excess []float32
	if s.bloom != nil {
		excess = make([]float32, part.w())
	}
	for y := range part.h() {
		bloomed := s.bloomRow(excess, m.step, part.x0, part.y0+y)
		r, gr, b, tr := p.rgb[0].Row(y), p.rgb[1].Row(y), p.rgb[2].Row(y), p.trust.Row(y)
		sr, sg, sb, sw := t.sum[0].Row(y + dy)[dx:], t.sum[1].Row(y + dy)[dx:], t.sum[2].Row(y + dy)[dx:], t.weight.Row(y + dy)[dx:]
		r, gr, b = r[:len(tr)], gr[:len(tr)], b[:len(tr)]
		sr, sg, sb, sw = sr[:len(tr)], sg[:len(tr)], sb[:len(tr)], sw[:len(tr)]
		var near []float32
		if p.near != nil {
			near = p.near.Row(y)[:len(tr)]
		}
		for x, q := range tr {
			mean := (r[x] + 2*gr[x] + b[x]) * 0.25
			if q < faint {
				if s == m.ref && q < faint*faint {
					q = faint * faint
				}
				if darkest && (q > 0 || mean > 0) {
					q = faint
				}
				if q == 0 {
					continue
				}
			}
			var v float32
			if s.codes != nil {
				v = s.codes.at(mean)
			} else if mean > 0 {
				v = sl*mean + o
			} else {
				v = o
			}
			if near != nil {
				v += near[x] * smear * smear
			}
			if bloomed {
				v += excess[x] * excess[x] * inv
			}
			k := q * inv / v
			sw[x] += k
			k *= g
			sr[x] += k * r[x]
			sg[x] += k * gr[x]
			sb[x] += k * b[x]
		}
	}
}

// codeNoise tables the variance of linearised codes by their value: the slope of the
// curve turns an error of a code into an error of light.
type codeNoise struct{ v [1024]float32 }

// variances make the table; codes near black, where cameras crush, count less unless
// the frame is the brightest.
func (c *curves) variances(brightest bool) *codeNoise {
	var k codeNoise
	code := float32(0)
	for i := range k.v {
		v := float32(i) / float32(len(k.v)-1)
		for code < 1 && c.at(1, code) < v*v {
			code += 1. / 512
		}
		sd := c.slope(1, code) * codeSigma / 255
		k.v[i] = sd * sd
		if !brightest {
			q := max(0, min(1, code*255/16))
			k.v[i] /= q*q*(3-2*q) + faint
		}
	}
	return &k
}

// at looks up by the square root, which spreads the shadows.
func (k *codeNoise) at(v float32) float32 {
	i := int(sqrt(max(0, min(1, v)))*float32(len(k.v)-1) + 0.5)
	return k.v[i]
}
