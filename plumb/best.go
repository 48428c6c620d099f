package plumb

import "math"

// found is a fitted pose with the evidence for it.
type found struct {
	m        model
	evidence float64
	upright  float64   // the part of it that the verticals give
	along    []float64 // see solver
}

// best fits every start and returns the likeliest model, and the evidence for its
// best rival, a really different pose, as a share of its own.
func (s *solver) best(starts []model) (m model, rival float64) {
	var all []found
	top := 0
	for _, start := range starts {
		yaws := s.turns(start)
		if len(yaws) > 0 {
			start[yaw] = yaws[0]
		}
		f := found{m: s.fit(start), along: s.along}
		_, f.evidence = s.likeliest(f.m)
		f.upright = s.uprightEvidence()
		all = append(all, f)
		if f.evidence > all[top].evidence {
			top = len(all) - 1
		}
	}
	s.along = all[top].along
	m, rival = all[top].m, rivalOf(all[top], all)
	return m, rival
}

// rivalOf returns how close the other models come to f, as a share of what its
// verticals contribute (the rest is shared). A model is a rival when acting on f
// would leave the picture about as bad as it is, if the rival were true.
func rivalOf(f found, others []found) (share float64) {
	for _, o := range others {
		// With a free focal length the place of the vanishing point tells.
		p, q := f.m[pitch]/math.Exp(f.m[logF]), o.m[pitch]/math.Exp(o.m[logF])
		if apart := math.Hypot(p-q, f.m[roll]-o.m[roll]); apart > rad(1.5) && apart > 0.7*math.Hypot(q, o.m[roll]) {
			share = max(share, 1-(f.evidence-o.evidence)/max(1e-9, f.upright))
		}
	}
	return share
}

// bent fits the lens's distortion too, from the straight model m of the same view,
// and returns the bent model when it is the likelier. A bend must earn its place: a
// straight picture must not be bent by a guess.
func (s *solver) bent(m model) (model, bool) {
	s.freeBend = false
	if yaws := s.turns(m); len(yaws) > 0 {
		m[yaw] = yaws[0]
	}
	m = s.fit(m)
	_, straight := s.likeliest(m)
	s.freeBend = true
	b := s.fit(m)
	scatter, evidence := s.likeliest(b)
	gain := 1.02
	if s.freeF {
		gain = 1.1 // a picture of unknown history may be a crop, its axis anywhere
	}
	return b, evidence > gain*straight && math.Abs(b[bend1]) > 2*s.sigmas(b, scatter)[bend1]
}
