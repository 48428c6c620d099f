package bracket

import (
	"context"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// Around what moves, most of a region stands still: the ceiling between the blades of a
// fan, the wall beside a curtain. There a brighter frame that agrees with the region's
// frame joins it, weighted as everywhere, and the noise of a single frame is left only
// where it must be. To agree means to differ by less than can be seen, and more nearly
// than a merge looks for motion: the fan's faint shadow, which each frame has elsewhere,
// is a difference too. Averages over many samples tell so little from noise.
const (
	agreeNear = 0.012 // share of the value, over about 13 samples
	agreeFar  = 0.005 // and over about 200
	blurNear  = 1
	blurFar   = 4
)

// joiners finds, for every shot, how far (0 to 1) it agrees with the frame that each
// sample of the regions comes from; nil for shots that join nowhere.
func (m *merger) joiners(ctx context.Context, r *regions) ([]*raster.Plane, error) {
	if !m.still || m.ref.frame.Kind != rawfile.KindMosaic {
		return nil, nil
	}
	all := make([]*raster.Plane, len(m.shots))
	for k := range m.shots {
		if !r.uses(k) {
			continue
		}
		for j := k + 1; j < len(m.shots); j++ {
			a, err := m.agreement(ctx, m.shots[j], m.shots[k])
			if err != nil {
				return nil, err
			}
			if all[j] == nil {
				all[j] = raster.New(r.w, r.h)
			}
			for i, from := range r.from {
				if int(from) == k+1 {
					all[j].Pix[i] = a.Pix[i]
				}
			}
			raster.Put(a)
		}
	}
	return all, ctx.Err()
}

// uses is true when some sample comes from shot k.
func (r *regions) uses(k int) bool {
	for _, from := range r.from {
		if int(from) == k+1 {
			return true
		}
	}
	return false
}

// agreement is how far shot s agrees with base, 0 to 1, sample by sample.
func (m *merger) agreement(ctx context.Context, s, base *shot) (*raster.Plane, error) {
	w, h := base.proof.lin.W, base.proof.lin.H
	near, noise := raster.Get(w, h), raster.Get(w, h)
	far := raster.Get(w, h)
	defer raster.Put(noise, far)
	for y := range h {
		d, n := near.Row(y), noise.Row(y)
		b := base.proof.lin.Row(y)
		for x, v := range s.proof.lin.Row(y) {
			d[x], n[x] = 1, 0 // can't be compared: differs
			if !s.sees(v) || !base.sees(b[x]) {
				continue
			}
			vs, vb := v*s.gain, b[x]*base.gain
			d[x] = (vs - vb) / vb
			n[x] = sqrt(s.gain*s.gain*(s.proof.s*v+s.proof.o)+base.gain*base.gain*(base.proof.s*b[x]+base.proof.o)) / vb
		}
	}
	if err := raster.Gauss(ctx, far, near, blurFar); err != nil {
		return nil, err
	}
	if err := raster.Gauss(ctx, near, near, blurNear); err != nil {
		return nil, err
	}
	// A Gaussian of sigma s leaves 1/(2 sqrt(pi) s) of the deviation of noise.
	const left = 0.2821
	for i, d := range near.Pix {
		t := max(abs(d)/(agreeNear+3*left/blurNear*noise.Pix[i]), abs(far.Pix[i])/(agreeFar+3*left/blurFar*noise.Pix[i]))
		near.Pix[i] = max(0, min(1, 2*(1-t)))
	}
	return near, raster.Gauss(ctx, near, near, blurNear)
}

// join adds the frames that agree with the one a photosite comes from, which gave it the
// value v: t is the term of each frame there.
func (r *regions) join(v float32, k, x, y int, term func(i int) term) float32 {
	own := term(k)
	if own.w <= 0 {
		return v
	}
	w, wv := own.w, own.w*v
	px, py := min(x/r.step, r.w-1), min(y/r.step, r.h-1)
	for j := k + 1; j < len(r.agree); j++ {
		if r.agree[j] == nil {
			continue
		}
		if a := r.agree[j].Row(py)[px]; a > 0 {
			t := term(j)
			w, wv = w+a*t.w, wv+a*t.wv
		}
	}
	return wv / w
}
