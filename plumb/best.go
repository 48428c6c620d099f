package plumb

import (
	"context"
	"math"
	"slices"
)

// found is a fitted pose with the evidence for it.
type found struct {
	m        model
	evidence float64
	along    []float64 // see solver
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

// fits returns the models fitted from every start.
func (s *solver) fits(starts []model) (all []found) {
	for _, start := range starts {
		yaws := s.turns(start)
		if len(yaws) > 0 {
			start[yaw] = yaws[0]
		}
		f := found{m: s.fit(start), along: s.along}
		_, f.evidence = s.likeliest(f.m)
		all = append(all, f)
	}
	return all
}

// likeliestOf returns the likeliest of all, which the solver then works with.
func (s *solver) likeliestOf(all []found) (m model, ahead lead) {
	top := 0
	for i := range all {
		if all[i].evidence > all[top].evidence {
			top = i
		}
	}
	s.along = all[top].along
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
		by := (f.evidence - o.evidence) / root
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
	if yaws := s.turns(m); len(yaws) > 0 {
		m[yaw] = yaws[0]
	}
	m = s.fit(m)
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
		all = append(all, found{m: b, evidence: with})
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
	slices.SortStableFunc(all, func(a, b found) int { return compare(b.evidence, a.evidence) })
	var out []model
	for _, f := range all {
		if len(out) < n && f.evidence > all[0].evidence-behind && !near(f.m, out, rad(1)) {
			out = append(out, f.m)
		}
	}
	return out
}
