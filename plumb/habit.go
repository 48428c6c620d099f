package plumb

import (
	"math"
	"slices"
)

// Habit is how the cameras of a shoot were held: the middle and the spread, in
// degrees, of the pitch and roll of its surely measured views. A photographer
// levels the tripod in much the same way each time, so the other views say what
// to expect of a weak one.
type Habit struct {
	PitchDeg, PitchSpread float64
	RollDeg, RollSpread   float64
}

// HabitOf returns the habit behind the poses, or nil when fewer than four of them
// are sure. Spreads are robust (median deviations) and never so small that they
// would overrule a view's own lines.
func HabitOf(poses []Pose) *Habit {
	var pitches, rolls []float64
	for _, p := range poses {
		if p.Confidence >= Sure {
			pitches, rolls = append(pitches, p.PitchDeg), append(rolls, p.RollDeg)
		}
	}
	if len(rolls) < 4 {
		return nil
	}
	h := &Habit{}
	h.PitchDeg, h.PitchSpread = middle(pitches, 2)
	h.RollDeg, h.RollSpread = middle(rolls, 1)
	return h
}

// middle returns the median and the spread, which is at least least.
func middle(v []float64, least float64) (at, spread float64) {
	v = slices.Clone(v)
	slices.Sort(v)
	at = v[len(v)/2]
	for i := range v {
		v[i] = math.Abs(v[i] - at)
	}
	slices.Sort(v)
	return at, max(least, 1.4826*v[len(v)/2])
}
