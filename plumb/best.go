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

// best searches, the given starts too, and returns the likeliest model, and how far it
// is ahead of the next.
func (s *solver) best(ctx context.Context, starts ...model) (m model, ahead lead) {
	return s.likeliestOf(s.fits(ctx, starts...))
}

// fits returns the models fitted from what the searches find and from the given starts.
func (s *solver) fits(ctx context.Context, starts ...model) (all []found) {
	starts = append(append(starts, s.search(ctx)...), s.boxes(ctx)...)
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
	for _, m := range distinct(straight, most) {
		b, without, with := s.bothWays(m)
		all = append(all, found{m: b, evidence: with})
		if unbent = max(unbent, without); with > all[top].evidence {
			top = len(all) - 1
		}
	}
	b = all[top].m
	return b, s.leadOf(all[top], all), s.earned(b, unbent, all[top].evidence)
}

// distinct returns the n likeliest models that differ from each other.
func distinct(all []found, n int) []model {
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b found) int { return compare(b.evidence, a.evidence) })
	var out []model
next:
	for _, f := range all {
		for _, m := range out {
			if math.Hypot(f.m[pitch]-m[pitch], f.m[roll]-m[roll]) < rad(1) {
				continue next
			}
		}
		if out = append(out, f.m); len(out) == n {
			break
		}
	}
	return out
}
