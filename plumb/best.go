package plumb

import "math"

// best fits every start and returns the model most lines agree with, and the
// agreement with its best rival, a really different pose, as a share of its own.
func (s *solver) best(starts []model) (m model, rival float64) {
	unknownLens := s.freeBend
	s.freeBend = false
	var most float64
	fitted := make([]model, len(starts))
	for i, st := range starts {
		fitted[i] = s.fit(st)
		if a := s.agreement(fitted[i]); a > most {
			most, m = a, fitted[i]
		}
	}
	s.agreement(m)
	upright := 1e-9 // what the verticals contribute, about: the rest is shared
	for i, k := range s.assigned {
		if k == 0 {
			upright += 0.5 * s.obs[i].weight
		}
	}
	for _, f := range fitted {
		// With a free focal length it's the place of the vanishing point that tells.
		if math.Hypot(f[pitch]/math.Exp(f[logF])-m[pitch]/math.Exp(m[logF]), f[roll]-m[roll]) > rad(1.5) {
			rival = max(rival, 1-(most-s.agreement(f))/upright)
		}
	}
	if !unknownLens {
		return m, rival
	}
	// A bend of the lens must earn its place: a straight picture must not be bent
	// by a guess.
	s.freeBend = true
	bent := s.fit(m)
	sigma := s.sigmas(bent, s.settle(bent))[bend1]
	if math.Abs(bent[bend1]) > 4*sigma && s.agreement(bent) > 1.04*most {
		return bent, rival
	}
	s.freeBend = false
	return m, rival
}

// agreement is the weighted length of the lines that meet the model's vanishing
// points, by the final gate, times the odds of holding a camera so.
func (s *solver) agreement(m model) float64 {
	const gate = widest
	s.assign(m, gate)
	var sum float64
	for i, k := range s.assigned {
		if k < 0 {
			continue
		}
		e := s.residuals[i] / (gate * math.Hypot(1, s.obs[i].sigma/wander/3))
		u := max(0, 1-e*e)
		w := u * u * s.obs[i].weight
		if k > 0 {
			w *= squareness
		}
		sum += w
	}
	return sum * math.Exp(-0.25*(sq(m[pitch]/s.prior[pitch])+sq(m[roll]/s.prior[roll])))
}
