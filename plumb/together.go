package plumb

import (
	"context"
	"fmt"

	"mullion/internal/raster"
	"mullion/lens"
)

// Shared is what all views of a shoot say together about one of them. It goes by
// the evidence alone, so that a run that was stopped and goes on finds the same.
type Shared struct {
	// Profile is the lens as estimated over the views made with it; nil when a
	// profile knows it, or when the views don't agree on a bend worth taking out.
	Profile *lens.Profile `json:"profile,omitempty"`
	Views   int           `json:"views,omitempty"` // that Profile is estimated from
	// Habit is how the shoot's other cameras were held; nil when the view's own
	// lines are enough.
	Habit *Habit `json:"habit,omitempty"`
	// Known is the attitude of a weak view that follows from a sure one of the same place.
	Known *Known `json:"known,omitempty"`
	// Note and Level are for the report: what was found of the lens and what the view's
	// level goes by, with numbers.
	Note  string `json:"note,omitempty"`
	Level string `json:"level,omitempty"`
}

// Fill returns v with what the shoot knows where v itself doesn't.
func (s Shared) Fill(v View) View {
	if s.Profile != nil && !v.Profile.Bends() {
		v.Profile = v.Profile.With(s.Profile)
	}
	if v.Habit == nil {
		v.Habit = s.Habit
	}
	if v.Known == nil {
		v.Known = s.Known
	}
	return v
}

// Together solves the views of a shoot together, one result a view in the same
// order. Views with the same [View.Setting] and no known distortion were made
// through one lens, whose distortion is estimated over all of them ([Lens]). A weak
// view that was taken from the place of a sure one differs from it only by a turn,
// which is found from the lines that both show; other weak views learn how the camera
// is usually held ([HabitOf]). Views
// without any evidence (no lines) are allowed. The only error is the context's.
func Together(ctx context.Context, views []Evidence) ([]Shared, error) {
	out := make([]Shared, len(views))
	for _, group := range settings(views) {
		together := make([]Evidence, len(group))
		for i, k := range group {
			together[i] = views[k]
		}
		p, n, err := sharedLens(ctx, together)
		if err != nil {
			return nil, err
		}
		if n < 2 {
			continue // nothing that the view doesn't say by itself
		}
		note := fmt.Sprintf("Lens distortion %s made with this lens and focal length: %.1f %% at the corner.", p.Origin, 100*cornerBend(p))
		for _, k := range group {
			out[k].Profile, out[k].Views, out[k].Note = p, n, note
		}
	}
	return out, habits(ctx, views, out)
}

// cornerBend is the share of the radius by which a corner is moved, against the
// middle's scale.
func cornerBend(p *lens.Profile) float64 { return p.Distort(1)/p.Focal() - 1 }

// settings lists the views of each lens and focal length that has no known
// distortion, in the order of their first views.
func settings(views []Evidence) [][]int {
	var groups [][]int
	at := map[string]int{}
	for i, e := range views {
		if e.View.Setting == "" || e.View.Profile.Bends() || len(e.Lines) == 0 {
			continue
		}
		k, ok := at[e.View.Setting]
		if !ok {
			k = len(groups)
			at[e.View.Setting] = k
			groups = append(groups, nil)
		}
		groups[k] = append(groups[k], i)
	}
	return groups
}

// habits measures every view with what is known of its lens and tells the weak
// ones how the others were held.
func habits(ctx context.Context, views []Evidence, out []Shared) error {
	poses := make([]Pose, len(views))
	err := raster.BandsOf(ctx, len(views), 1, func(a, b int) {
		for i := a; i < b; i++ {
			if len(views[i].Lines) > 0 {
				// The error is the context's, which is looked at below.
				poses[i], _ = FromSegments(ctx, views[i].segments(), out[i].Fill(views[i].View))
			}
		}
	})
	if err != nil {
		return err
	}
	h := HabitOf(poses) // weak views have no part in it
	sights := make([]*sight, len(views))
	for i, e := range views {
		sights[i] = newSight(e, out[i].Fill(e.View))
	}
	return raster.BandsOf(ctx, len(views), 1, func(a, b int) {
		for i := a; i < b; i++ {
			if poses[i].weak() {
				out[i].guide(samePlace(ctx, i, sights, poses), h)
			}
		}
	})
}

// guide gives a weak view what the others know: another view of its place, or else how
// the cameras were usually held.
func (s *Shared) guide(k *Known, h *Habit) {
	switch {
	case k != nil:
		s.Known = k
		s.Level = k.note()
	case h != nil:
		s.Habit = h
		s.Level = fmt.Sprintf("Few upright lines: the shoot's other views (pitch %+.1f, roll %+.1f degrees, give or take %.1f and %.1f) are used as a guide.",
			h.PitchDeg, h.RollDeg, h.PitchSpread, h.RollSpread)
	}
}
