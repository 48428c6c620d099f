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
		if a := s.agreement(fitted[i], widest); a > most {
			most, m = a, fitted[i]
		}
	}
	rival = s.rival(m, fitted)
	if unknownLens {
		m = s.bend(m, fitted)
	}
	return m, rival
}

// rival returns how close the other models come, as a share of what the verticals
// contribute to the agreement with m (the rest is shared). A model is a rival
// when acting on m would leave the picture about as bad as it is, if the rival
// were true.
func (s *solver) rival(m model, others []model) (share float64) {
	most := s.agreement(m, widest)
	upright := 1e-9
	for i, k := range s.assigned {
		if k == 0 {
			upright += 0.5 * s.obs[i].weight
		}
	}
	for _, f := range others {
		// With a free focal length the place of the vanishing point tells.
		fp, mp := f[pitch]/math.Exp(f[logF]), m[pitch]/math.Exp(m[logF])
		if apart := math.Hypot(fp-mp, f[roll]-m[roll]); apart > rad(1.5) && apart > 0.7*math.Hypot(fp, f[roll]) {
			share = max(share, 1-(most-s.agreement(f, widest))/upright)
		}
	}
	return share
}

// bend fits the lens's distortion too, from the straight model m and its nearest
// relatives, and returns the better of the bent and the straight model. A bend
// must earn its place: a straight picture must not be bent by a guess.
func (s *solver) bend(m model, others []model) model {
	gain, fine := 1.02, tightest
	if s.freeF {
		// A picture of unknown history may be a crop, its axis anywhere.
		gain, fine, others = 1.1, widest, nil
	}
	most := gain * s.agreement(m, fine)
	best := m
	s.freeBend = true
	for _, start := range append([]model{m}, others[:min(2, len(others))]...) {
		bent := s.fit(start)
		if a := s.agreement(bent, fine); a > most && math.Abs(bent[bend1]) > 2*s.sigmas(bent, s.settle(bent))[bend1] {
			best, most = bent, a
		}
	}
	s.freeBend = best != m
	return best
}

// agreement is the weighted length of the lines that meet the model's vanishing
// points within the gate, times the odds of holding a camera so.
func (s *solver) agreement(m model, gate float64) float64 {
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
