package plumb

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
	"mullion/lines"
)

// Evidence is what one view says about the lens and about how the cameras of the
// shoot were held: the longest of its line segments. It is kept as JSON while a
// shoot is read, some twenty kilobytes a view, and comes back exactly.
type Evidence struct {
	View View `json:"view"`
	// Lines are x1, y1, x2, y2, sigma, bend and its sigma of each segment, as in
	// [lines.Segment].
	Lines [][7]float64 `json:"lines"`
}

// keptLines is how many segments of a view are kept for the lens.
const keptLines = 400

// Gather finds the evidence of one view in luma (see [Measure]).
func Gather(ctx context.Context, luma *raster.Plane, v View) (Evidence, error) {
	segs, err := find(ctx, luma, v)
	if err != nil {
		return Evidence{}, err
	}
	return NewEvidence(segs, v), nil
}

// NewEvidence is [Gather] for ready-made segments in full-size pixels.
func NewEvidence(segs []lines.Segment, v View) Evidence {
	segs = slices.Clone(segs)
	slices.SortStableFunc(segs, func(a, b lines.Segment) int { return compare(b.Length(), a.Length()) })
	e := Evidence{View: v, Lines: make([][7]float64, 0, min(len(segs), keptLines))}
	for _, s := range segs[:cap(e.Lines)] {
		e.Lines = append(e.Lines, [7]float64{
			short(s.X1, 1e3), short(s.Y1, 1e3), short(s.X2, 1e3), short(s.Y2, 1e3),
			short(s.Sigma, 1e7), short(s.Bend, 1e4), short(s.BendSigma, 1e4)})
	}
	return e
}

// short rounds to what matters, so that the number's text is short.
func short(x, unit float64) float64 { return math.Round(x*unit) / unit }

// segments returns the lines as the solver wants them.
func (e Evidence) segments() []lines.Segment {
	out := make([]lines.Segment, len(e.Lines))
	for i, l := range e.Lines {
		out[i] = lines.Segment{X1: l[0], Y1: l[1], X2: l[2], Y2: l[3], Sigma: l[4], Bend: l[5], BendSigma: l[6]}
	}
	return out
}
