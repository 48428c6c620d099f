package plumb

import (
	"context"
	"math"
	"slices"
)

// found is a fitted pose with the evidence for it.
type found struct {
	m        model
	evidence float64 // at its best
	odds     float64 // the same over all that fits about as well
	frames   int     // see solver
}

// best searches and returns the likeliest model, and how far it is ahead of the next.
func (s *solver) best(ctx context.Context) (m model, ahead lead) {
	return s.likeliestOf(s.fits(s.starts(ctx)))
}

// starts returns what the searches find, the uprights' first.
func (s *solver) starts(ctx context.Context) []model {
	out := s.search(ctx)
	n := len(out)
	for _, m := range s.boxes(ctx) {
		if !near(m, out[:n], rad(gridStep)) {
			out = append(out, m)
		}
	}
	return out
}

// near reports whether one of the models has the pitch and roll of m to within radians.
func near(m model, models []model, radians float64) bool {
	for _, o := range models {
		if math.Hypot(m[pitch]-o[pitch], m[roll]-o[roll]) < radians {
			return true
		}
	}
	return false
}

// fits returns the models fitted from every start. The best are fitted again with the
// frames of horizontals that the fitted pose suggests, which may differ from those of the start.
func (s *solver) fits(starts []model) (all []found) {
	for _, start := range starts {
		all = append(all, s.from(start))
	}
	slices.SortStableFunc(all, func(a, b found) int { return compare(b.odds, a.odds) })
	for i := range all[:min(len(all), again)] {
		if f := s.from(all[i].m); f.odds > all[i].odds {
			all[i] = f
		}
	}
	return all
}

// again is how many of the fits are worth a second one.
const again = 5

// from fits the model that begins with start's pose.
func (s *solver) from(start model) found {
	f := found{m: s.fit(s.furnish(start)), frames: s.frames}
	var scatter float64
	scatter, f.evidence = s.likeliest(f.m)
	f.odds = f.evidence + shared*s.breadth(f.m, scatter)
	return f
}

// breadth is the logarithm of the area, in pitch and roll, in which m fits about as well:
// of two poses with the same evidence at their best, the one that needs less luck is the
// likelier (the approximation of Laplace to the probability of all of the peak).
func (s *solver) breadth(m model, scatter float64) float64 {
	a := s.normal(m, scatter)
	// Eliminate the other parameters, then roll: what is left is the determinant's two factors.
	for c := len(a) - 1; c > 0; c-- {
		if !(a[c][c] > 0) {
			return 0
		}
		for r := range c {
			f := a[r][c] / a[c][c]
			for i := range c + 1 {
				a[r][i] -= f * a[c][i]
			}
		}
	}
	return -math.Log(max(1, a[pitch][pitch])*max(1, a[roll][roll])) / 2
}

// likeliestOf returns the likeliest of all, which the solver then works with.
func (s *solver) likeliestOf(all []found) (m model, ahead lead) {
	top := 0
	for i := range all {
		if all[i].odds > all[top].odds {
			top = i
		}
	}
	s.frames = all[top].frames
	return all[top].m, s.leadOf(all[top], all)
}

// lead is by how much the evidence for a model is ahead of other poses', or of a heap of
// stray lines, in units of the root of the number of lines, by which evidence varies: 0
// when another is as likely.
type lead struct {
	any   float64 // of really different poses
	worse float64 // of those which, if true, acting would leave about as bad as it is
}

// leadOf returns the lead of f, one of all.
func (s *solver) leadOf(f found, all []found) lead {
	root := math.Sqrt(float64(len(s.obs)))
	l := lead{any: max(0, s.beyondChance(f.evidence))}
	l.worse = l.any
	for _, o := range all {
		// With a free focal length the place of the vanishing point tells.
		p, q := f.m[pitch]/math.Exp(f.m[logF]), o.m[pitch]/math.Exp(o.m[logF])
		apart := math.Hypot(p-q, f.m[roll]-o.m[roll])
		if apart < rad(1.5) {
			continue
		}
		by := (f.odds - o.odds) / root
		l.any = min(l.any, by)
		if apart > 0.7*math.Hypot(q, o.m[roll]) {
			l.worse = min(l.worse, by)
		}
	}
	return l
}

// bent fits the lens's distortion too, from the straight model m of the same view,
// and returns the bent model and whether it is the likelier. A bend must earn its
// place: a straight picture must not be bent by a guess.
func (s *solver) bent(m model) (model, bool) {
	b, straight, evidence := s.bothWays(m)
	return b, s.earned(b, straight, evidence)
}

// bothWays fits m without and with a bend.
func (s *solver) bothWays(m model) (b model, straight, bent float64) {
	s.freeBend = false
	m = s.fit(s.furnish(m))
	_, straight = s.likeliest(m)
	s.freeBend = true
	b = s.fit(m)
	_, bent = s.likeliest(b)
	return b, straight, bent
}

// earned reports whether the bend of b is worth taking out.
func (s *solver) earned(b model, straight, bent float64) bool {
	gain := 1.02
	if s.freeF {
		gain = 1.1 // a picture of unknown history may be a crop, its axis anywhere
	}
	scatter, _ := s.likeliest(b)
	return bent > gain*straight && math.Abs(b[bend1]) > 2*s.sigmas(b, scatter)[bend1]
}

// bend bends the likeliest of the straight models, each by itself: a strong bend may
// have hidden which is right. It returns the likeliest and its lead.
func (s *solver) bend(straight []found) (b model, ahead lead, ok bool) {
	const most = 4
	var all []found
	top, unbent := 0, 0.0
	for _, m := range s.distinct(straight, most) {
		b, without, with := s.bothWays(m)
		all = append(all, found{m: b, frames: s.frames, evidence: with, odds: with})
		if unbent = max(unbent, without); with > all[top].evidence {
			top = len(all) - 1
		}
	}
	b = all[top].m
	return b, s.leadOf(all[top], all), s.earned(b, unbent, all[top].evidence)
}

// distinct returns the n likeliest models that differ from each other and are not
// hopelessly behind, by more than a bend could hide.
func (s *solver) distinct(all []found, n int) []model {
	behind := 5 * math.Sqrt(float64(len(s.obs)))
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b found) int { return compare(b.odds, a.odds) })
	var out []model
	for _, f := range all {
		if len(out) < n && f.odds > all[0].odds-behind && !near(f.m, out, rad(1)) {
			out = append(out, f.m)
		}
	}
	return out
}

// furnish returns m with the frames of horizontal directions that its pitch and roll
// suggest, which the solver then works with.
func (s *solver) furnish(m model) model {
	turns := s.turns(m)
	s.frames = max(1, len(turns))
	for k, t := range turns {
		m[yaws[k]] = t
	}
	return m
}
