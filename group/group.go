// Package group finds the brackets on a card: which frames are one view.
//
// It treats a card as a sequence to be cut. Every possible view, a run of frames
// in shooting order, has a score: the logarithm of how likely such frames are as
// one view, against being strangers. Four things speak: the pauses between frames
// after the exposures themselves are taken off, the pattern of exposures (even
// steps, a known order, no exposure twice), settings that changed, and the
// pictures' own structure. The best cut is found by dynamic programming, and the
// forward-backward sums over all cuts give the probability of each boundary
// (Rabiner 1989 describes both for hidden Markov models; the variable length makes
// it a semi-Markov one). Pictures are looked at only where the rest leaves a doubt.
package group

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"

	"mullion/card/natural"
	"mullion/internal/raster"
	"mullion/metadata"
)

// Frame is one camera file.
type Frame struct {
	Path string
	Info metadata.Info
}

// Thumb returns a small grey picture of frame i: code values 0..1 with the
// file's usual tone curve, in the sensor's orientation, 128 pixels or more along
// the long side. It may be called from two goroutines at once.
type Thumb func(ctx context.Context, i int) (*raster.Plane, error)

// View is one composition: the frames of a bracket, or a single one.
type View struct {
	ID        string    // "view-01" and so on in shooting order
	Frames    []int     // indices into the frames given, darkest first
	EV        []float64 // exposure of each against the reference frame; + is brighter
	Reference int       // position in Frames of the middle exposure
	// Estimated is true when a file does not say how it was exposed and EV comes
	// from the pictures' brightness, good to about half a stop.
	Estimated bool
	// Confidence is the probability, under the model, of the view's least certain
	// boundary, 0..1.
	Confidence float64
	Reasons    []string // why these frames and no others, in plain sentences
	Notes      []Note   // what is odd about the bracket
}

// Note is one remark about a view, ready to become a finding.
type Note struct {
	Code     string // "frame-missing", "bracket-uneven", "near-duplicate", "exposure-repeated", "settings-changed", "exposure-estimated"
	Severity string // "look" or "note"
	Message  string
	Value    float64
	Unit     string
}

// Views groups frames into views and returns them in shooting order. Every frame
// is in exactly one view. A nil thumb, or a frame whose thumb can't be made,
// leaves the decision to times and exposures. The error is the context's.
func Views(ctx context.Context, frames []Frame, thumb Thumb) ([]View, error) {
	book := newAlbum(ctx, frames, thumb)
	var runs []*run
	for _, r := range split(frames) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		r.album = book
		runs = append(runs, r)
	}
	for _, r := range runs {
		r.cut(habits{})
	}
	for range 2 { // a photographer repeats one pattern: learn it, look again
		h := learn(runs)
		for _, r := range runs {
			r.cut(h)
		}
	}
	h := learn(runs)
	for _, r := range runs {
		if err := r.lookWhereInDoubt(ctx, h); err != nil {
			return nil, err
		}
	}
	h = learn(runs)
	for _, r := range runs {
		r.cut(h)
	}
	views, err := describe(ctx, runs, book)
	if err != nil {
		return nil, err
	}
	return views, ctx.Err()
}

// inOrder numbers the views by the first frame taken: by time, where there is
// one, and by path.
func inOrder(frames []Frame, views []View, first []int) []View {
	order := make([]int, len(views))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return compare(frames[first[a]], frames[first[b]]) })
	out := make([]View, len(views))
	for n, i := range order {
		out[n] = views[i]
		out[n].ID = fmt.Sprintf("view-%02d", n+1)
	}
	return out
}

// compare orders frames by capture time and then by path.
func compare(a, b Frame) int {
	s, t := a.Info.Time, b.Info.Time
	if !s.IsZero() && !t.IsZero() {
		if c := s.Compare(t); c != 0 {
			return c
		}
	}
	return natural.Compare(filepath.ToSlash(a.Path), filepath.ToSlash(b.Path))
}
