package plumb

import (
	"math"
	"slices"

	"mullion/lines"
)

// join makes one segment of pieces that lie on one straight line. Detectors break
// an edge where something crosses it or its contrast changes; the pieces' own
// directions are poor, but the place of each is good, and together they give the
// direction of the whole as well as an unbroken edge would. off is how far, in
// pixels, a piece's end may lie beside the line.
//
// Pieces must have the same brighter side, lie one behind the other, and the gaps
// may be no longer than the pieces.
func join(segs []lines.Segment, off float64) []lines.Segment {
	order := slices.Clone(segs)
	slices.SortStableFunc(order, func(a, b lines.Segment) int { return compare(b.Length(), a.Length()) })
	taken := make([]bool, len(order))
	var out []lines.Segment
	for i := range order {
		if taken[i] {
			continue
		}
		w := newWhole(order[i])
		for again := true; again; {
			again = false
			for j := i + 1; j < len(order); j++ {
				if !taken[j] && w.takes(order[j], off) {
					taken[j], again = true, true
				}
			}
		}
		out = append(out, w.segment())
	}
	return out
}

// whole is a line that is being put together.
type whole struct {
	pieces []lines.Segment
	s      lines.Segment // the line through them
	length float64       // of the pieces without the gaps
}

func newWhole(s lines.Segment) *whole {
	return &whole{pieces: []lines.Segment{s}, s: s, length: s.Length()}
}

// takes adds the piece if it belongs to the line.
func (w *whole) takes(p lines.Segment, off float64) bool {
	l, lp := w.s.Length(), p.Length()
	if l == 0 || lp == 0 {
		return false
	}
	dx, dy := (w.s.X2-w.s.X1)/l, (w.s.Y2-w.s.Y1)/l
	// Quick: same way, within what the two directions' errors allow.
	sin, cos := (dx*(p.Y2-p.Y1)-dy*(p.X2-p.X1))/lp, (dx*(p.X2-p.X1)+dy*(p.Y2-p.Y1))/lp
	if cos < 0.9 || math.Abs(sin) > 2*off/lp+off/l {
		return false
	}
	along := func(x, y float64) float64 { return (x-w.s.X1)*dx + (y-w.s.Y1)*dy }
	a, b := along(p.X1, p.Y1), along(p.X2, p.Y2)
	gap := max(a-l, -b)
	if gap < -0.2*lp || gap > min(lp, w.length) {
		return false
	}
	joined := &whole{pieces: append(slices.Clip(w.pieces), p), length: w.length + lp}
	if !joined.fit(off) {
		return false
	}
	*w = *joined
	return true
}

// fit lays the line through the ends of all pieces by least squares; false when an
// end lies too far beside it.
func (w *whole) fit(off float64) bool {
	var n, mx, my float64
	each := func(do func(x, y, wt float64)) {
		for _, p := range w.pieces {
			wt := 1 / sq(endError(p))
			do(p.X1, p.Y1, wt)
			do(p.X2, p.Y2, wt)
		}
	}
	each(func(x, y, wt float64) { n, mx, my = n+wt, mx+wt*x, my+wt*y })
	mx, my = mx/n, my/n
	var xx, xy, yy float64
	each(func(x, y, wt float64) {
		xx, xy, yy = xx+wt*(x-mx)*(x-mx), xy+wt*(x-mx)*(y-my), yy+wt*(y-my)*(y-my)
	})
	t := math.Atan2(2*xy, xx-yy) / 2
	dy, dx := math.Sincos(t)
	if f := w.pieces[0]; (f.X2-f.X1)*dx+(f.Y2-f.Y1)*dy < 0 {
		dx, dy = -dx, -dy
	}
	lo, hi, moment, worst := math.Inf(1), math.Inf(-1), 0.0, 0.0
	each(func(x, y, wt float64) {
		a := (x-mx)*dx + (y-my)*dy
		lo, hi = min(lo, a), max(hi, a)
		moment += wt * a * a
		worst = max(worst, math.Abs((x-mx)*dy-(y-my)*dx))
	})
	w.s = lines.Segment{X1: mx + lo*dx, Y1: my + lo*dy, X2: mx + hi*dx, Y2: my + hi*dy, Sigma: 1 / math.Sqrt(moment)}
	return worst <= off
}

// endError is the standard error in pixels of a piece's ends across its length.
func endError(p lines.Segment) float64 {
	if p.Sigma == 0 {
		return unmeasured / math.Sqrt2
	}
	return p.Sigma * p.Length() / math.Sqrt2
}

// segment returns the line; a single piece as it was.
func (w *whole) segment() lines.Segment {
	if len(w.pieces) == 1 {
		return w.pieces[0]
	}
	return w.s
}

// pieceError is how far, in pixels, the end of a piece may lie beside the line it
// is part of: some standard errors of a typical piece.
func (s *solver) pieceError(segs []lines.Segment) float64 {
	if len(segs) == 0 {
		return 0
	}
	errors := make([]float64, len(segs))
	for i, g := range segs {
		errors[i] = endError(g)
	}
	slices.Sort(errors)
	return max(2.4*errors[len(errors)/2], 0.0004*float64(max(s.v.W, s.v.H)))
}
