package bracket

import (
	"context"
	"errors"
	"math"

	"mullion/internal/raster"
)

// stillReach is how far, in full-resolution pixels, any part of a frame may lie
// from the reference for the bracket to count as shot from a tripod.
const stillReach = 0.25

// What a fit must reach to be believed.
const (
	minPeak    = 0.12
	minInliers = 0.35
	maxSigma   = 0.15 // proof samples
	fewPoints  = 400
)

func (f fit) good() bool {
	return f.points >= 40 && f.peak >= minPeak && f.inliers >= minInliers && f.sigma <= maxSigma
}

// blind is true when the two frames have too little in common to say anything: a
// nearly black or nearly white frame, or one whose structure is all noise, which
// agrees as well anywhere else.
func (f fit) blind() bool {
	return f.points < fewPoints || f.sigma > maxSigma || f.peak < minPeak && f.scale < noiseScale
}

// noiseScale is the size of differences, in units of the expected noise, up to which
// noise explains them.
const noiseScale = 1.3

// dropUseless leaves out frames that hold no picture at all.
func (m *merger) dropUseless(ctx context.Context) error {
	for _, s := range append([]*shot(nil), m.shots...) {
		if len(m.shots) == 1 {
			break
		}
		switch {
		case s.proof.clipped > 0.9995:
			m.leave(s, "all of it is clipped")
		case s.proof.clipped == 0 && s.proof.seen() < 1e-4:
			m.leave(s, "all of it is black")
		}
	}
	return ctx.Err()
}

// seen is the share of samples above three standard deviations of the floor.
func (p *proof) seen() float64 {
	floor := 3*float32(math.Sqrt(float64(p.o))) + 1e-5
	var n int
	for y := range p.lin.H {
		for _, v := range p.lin.Row(y) {
			if v > floor {
				n++
			}
		}
	}
	return float64(n) / float64(p.lin.W*p.lin.H)
}

// chooseReference takes the middle frame unless another shows much more of the
// picture well exposed.
func (m *merger) chooseReference(ctx context.Context) error {
	m.sortShots()
	m.ref = m.shots[len(m.shots)/2]
	best := m.ref.proof.good * 1.25
	for _, s := range m.shots {
		if s.proof.good > best {
			m.ref, best = s, s.proof.good
		}
	}
	if i := m.opt.Reference; i >= 0 {
		for _, s := range m.shots {
			if s.index == i {
				m.ref = s
			}
		}
	}
	return ctx.Err()
}

// align finds every frame's place against the reference.
func (m *merger) align(ctx context.Context) error {
	a := &aligner{m: m, levels: map[*shot][]level{}, points: map[*shot][][]point{}}
	defer a.release()
	pw, ph := m.ref.proof.lin.W, m.ref.proof.lin.H
	for _, s := range m.shots {
		s.warp = still(pw, ph)
		if len(m.shots) == 1 {
			break
		}
		l, err := s.proof.pyramid(ctx)
		if err != nil {
			return err
		}
		a.levels[s] = l
	}
	first, err := a.pairAll(ctx)
	if err != nil {
		return err
	}
	var blind []*shot
	for _, s := range m.outward() {
		w, f, err := a.place(ctx, s, first[s])
		if err != nil {
			return err
		}
		switch {
		case f.good():
			s.warp = w
		case f.blind():
			blind = append(blind, s)
		default:
			m.leave(s, "it can't be aligned with the others (the camera moved too far, the light changed, or it is another picture)")
		}
	}
	m.judgeStill()
	for _, s := range blind {
		if !m.still {
			m.leave(s, "too little of it is exposed to align it with the others")
		}
	}
	if m.still {
		return ctx.Err()
	}
	return a.bend(ctx)
}

// outward lists the shots other than the reference, nearest in exposure first.
func (m *merger) outward() []*shot {
	r := m.position(m.ref)
	var out []*shot
	for d := 1; d < len(m.shots); d++ {
		if r-d >= 0 {
			out = append(out, m.shots[r-d])
		}
		if r+d < len(m.shots) {
			out = append(out, m.shots[r+d])
		}
	}
	return out
}

func (m *merger) position(s *shot) int {
	for i, t := range m.shots {
		if t == s {
			return i
		}
	}
	return -1
}

// judgeStill decides between tripod and hand-held, and reports the shifts.
func (m *merger) judgeStill() {
	m.still = true
	for _, s := range m.shots {
		if s.warp.reach()*float64(m.step) > stillReach {
			m.still = false
		}
		r := &m.out.Frames[s.index]
		r.ShiftX, r.ShiftY = s.warp.tx*float64(m.step), s.warp.ty*float64(m.step)
		r.RotationDeg = s.warp.rotation() * 180 / math.Pi
	}
}

// aligner holds the pyramids and their points while frames are aligned.
type aligner struct {
	m      *merger
	levels map[*shot][]level
	points map[*shot][][]point
}

func (a *aligner) release() {
	for _, l := range a.levels {
		releaseLevels(l)
	}
}

func (a *aligner) pointsOf(s *shot) [][]point {
	if a.points[s] == nil {
		for _, l := range a.levels[s] {
			a.points[s] = append(a.points[s], gather(l))
		}
	}
	return a.points[s]
}

// found is where a shot was found, and how well.
type found struct {
	warp
	fit
	err error
}

// pairAll aligns all shots with the reference, side by side.
func (a *aligner) pairAll(ctx context.Context) (map[*shot]found, error) {
	others := a.m.outward()
	if len(others) == 0 {
		return nil, ctx.Err()
	}
	a.pointsOf(a.m.ref) // shared by all from here on
	results := make([]found, len(others))
	err := raster.BandsOf(ctx, len(others), 1, func(i, _ int) {
		r := &results[i]
		r.warp, r.fit, r.err = a.pair(ctx, a.m.ref, others[i])
	})
	all := map[*shot]found{}
	for i, s := range others {
		all[s] = results[i]
		if err == nil {
			err = results[i].err
		}
	}
	return all, err
}

// place says where a shot lies, which was first aligned with the reference; where the
// two share too little of the range of light, it goes through its neighbour in
// exposure.
func (a *aligner) place(ctx context.Context, s *shot, first found) (warp, fit, error) {
	w, f := first.warp, first.fit
	if f.good() && f.sigma < 0.03 {
		return w, f, nil
	}
	r, i := a.m.position(a.m.ref), a.m.position(s)
	via := i + 1
	if i > r {
		via = i - 1
	}
	n := a.m.shots[via]
	if n == a.m.ref {
		return w, f, nil
	}
	w2, f2, err := a.pair(ctx, n, s)
	if err != nil {
		return w, f, err
	}
	if f2.good() && (!f.good() || f2.sigma < f.sigma) {
		return w2.after(n.warp), f2, nil
	}
	return w, f, nil
}

// pair aligns shot b with the template t, coarse to fine, from the two best guesses:
// where the coarse search found it, and where a tripod would have left it.
func (a *aligner) pair(ctx context.Context, t, b *shot) (warp, fit, error) {
	la, lb, pts := a.levels[t], a.levels[b], a.pointsOf(t)
	top := len(la) - 1
	dx, dy, _, err := coarseShift(ctx, la[top], lb[top])
	if err != nil {
		return warp{}, fit{}, err
	}
	w := still(la[top].log.W, la[top].log.H)
	fine := max(0, top-2)
	best := a.descend(ctx, w, pts, lb, top, fine)
	if dx != 0 || dy != 0 {
		w.tx, w.ty = float64(dx), float64(dy)
		moved := a.descend(ctx, w, pts, lb, top, fine)
		if peak(pts[fine], lb[fine], moved) > peak(pts[fine], lb[fine], best) {
			best = moved
		}
	}
	if fine > 0 {
		best = best.finer(la[fine-1].log.W, la[fine-1].log.H)
		best = a.descend(ctx, best, pts, lb, fine-1, 0)
	}
	w, f := refine(ctx, pts[0], lb[0], best, rigid, 3)
	f.peak = peak(pts[0], lb[0], w)
	return w, f, ctx.Err()
}

// descend refines a warp given at level from down to level to.
func (a *aligner) descend(ctx context.Context, w warp, pts [][]point, lb []level, from, to int) warp {
	for i := from; i >= to; i-- {
		n := rigid
		if i >= len(lb)-2 {
			n = shiftOnly
		}
		if i < from {
			w = w.finer(lb[i].log.W, lb[i].log.H)
		}
		if next, f := refine(ctx, pts[i], lb[i], w, n, 10); f.points >= 40 {
			w = next
		}
	}
	return w
}

// bend refines hand-held frames beyond a rotation: an affine map, then a mesh of
// small displacements for perspective, lens distortion and near things.
func (a *aligner) bend(ctx context.Context) error {
	m := a.m
	a.pointsOf(m.ref) // shared by all from here on
	errs := make([]error, len(m.shots))
	err := raster.BandsOf(ctx, len(m.shots), 1, func(i, _ int) {
		if s := m.shots[i]; s != m.ref && s.warp.reach()*float64(m.step) >= stillReach/4 {
			errs[i] = a.bendOne(ctx, s)
		}
	})
	return errors.Join(append(errs, err)...)
}

func (a *aligner) bendOne(ctx context.Context, s *shot) error {
	m := a.m
	pts := a.pointsOf(m.ref)[0]
	w, f := refine(ctx, pts, a.levels[s][0], s.warp, affine, 8)
	f.peak = 1 // seen already
	if f.good() {
		// The mesh must earn its freedom: a plain turn of the camera has none of it.
		bent := w
		bent.mesh = bendMesh(ctx, pts, a.levels[s][0], w)
		if cost(pts, a.levels[s][0], bent) < 0.85*cost(pts, a.levels[s][0], w) {
			w = bent
		}
		s.warp = w
	}
	r := &m.out.Frames[s.index]
	x, y := s.warp.at(s.warp.cx, s.warp.cy)
	r.ShiftX, r.ShiftY = (x-s.warp.cx)*float64(m.step), (y-s.warp.cy)*float64(m.step)
	r.RotationDeg = s.warp.rotation() * 180 / math.Pi
	return s.moveProof(ctx)
}

// moveProof moves a shot's proof into the reference's geometry.
func (s *shot) moveProof(ctx context.Context) error {
	lin, err := warpProof(ctx, s.proof.lin, s.warp)
	if err != nil {
		return err
	}
	raster.Put(s.proof.lin)
	s.proof.lin = lin
	return nil
}

// warpProof is a proof in the reference's geometry. What lies outside the frame counts
// as saturated: not seen.
func warpProof(ctx context.Context, src *raster.Plane, t warp) (*raster.Plane, error) {
	dst := raster.Get(src.W, src.H)
	err := raster.Bands(ctx, dst.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			out := dst.Row(y)
			for x := range out {
				u, v := t.at(float64(x), float64(y))
				out[x] = proofAt(src, u, v)
			}
		}
	})
	return dst, err
}

func proofAt(p *raster.Plane, x, y float64) float32 {
	if x < 0 || y < 0 || x > float64(p.W-1) || y > float64(p.H-1) {
		return saturated
	}
	ix, iy := min(int(x), p.W-2), min(int(y), p.H-2)
	fx, fy := float32(x-float64(ix)), float32(y-float64(iy))
	o := iy*p.Stride + ix
	a, b, c, d := p.Pix[o], p.Pix[o+1], p.Pix[o+p.Stride], p.Pix[o+p.Stride+1]
	if a >= saturated || b >= saturated || c >= saturated || d >= saturated {
		return saturated
	}
	if ix >= 1 && iy >= 1 && ix < p.W-2 && iy < p.H-2 {
		if v := cubic(p, ix, iy, fx, fy); v < max(a, b, c, d)*1.5 && v > 0 {
			return v
		}
	}
	return (a*(1-fx)+b*fx)*(1-fy) + (c*(1-fx)+d*fx)*fy
}
