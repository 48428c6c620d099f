package plumb

import (
	"math"
	"slices"
)

// What a line of a room may be, before it has been looked at: an upright, a line
// along one direction of a frame of walls or furniture, or anything else (the
// mixture of Coughlan & Yuille, Neural Computation 15, 2003; several frames that
// share one vertical are the Atlanta world of Schindler & Dellaert, CVPR 2004).
const (
	strayShare = 0.5
	upShare    = 0.2
	alongShare = 0.05
)

// scatters are the standard deviations in radians of real uprights about the
// vertical that are tried (0.08 to 0.5 degrees): building tolerances and what the
// lens model and the detector leave. Each view takes the likeliest.
var scatters = [...]float64{0.0014, 0.0025, 0.0045, 0.008}

// coarse is the scatter the search starts with: its grid leaves that much.
const coarse = 0.012

// askew is the scatter of lines that ought to be horizontal beside that of
// uprights: rooms and what stands in them are less square than they are upright.
const askew = 2.0

// likelihood is the density of an error of angle e under Student's t with three
// degrees of freedom, relative to that of a stray line, whose angle is anything.
// The heavy tails let a line be wrong without pulling.
func likelihood(e, variance float64) float64 {
	q := 1 + e*e/(3*variance)
	return 2 / math.Sqrt(3*variance) / (q * q)
}

// opinion is what one observation says under the current model.
type opinion struct {
	assigned int8    // 0 down, 1 across, 2 depth, -1 none of them
	residual float64 // sine of the angle to that vanishing point
	share    float64 // probability that it belongs there
	variance float64
}

// judge works out, for each observation, which direction it likely belongs to and
// with what probability, and returns the evidence for the model: the weighted
// logarithm of the likelihood ratio to a heap of stray lines, priors included.
func (s *solver) judge(m model, scatter float64) float64 {
	s.project(m)
	ax := m.axes()
	sum := s.odds(m)
	for i, r := range s.undrawn {
		o := &s.obs[i]
		own := o.sigma * o.sigma
		up, along := own+sq(scatter), own+sq(askew*scatter)
		total, most := strayShare, 0.0
		v := opinion{assigned: -1}
		for k, a := range ax {
			if ambiguous(r, a) {
				continue
			}
			e, variance, share := r.miss(a), along, alongShare
			if k == 0 {
				variance, share = up, upShare
			}
			p := share * likelihood(e, variance)
			total += p
			if p > most {
				most = p
				v = opinion{int8(k), e, p, variance}
			}
		}
		if s.along != nil {
			total += s.along[i]
		}
		v.share /= total
		s.lines[i] = v
		sum += o.weight * s.unit * math.Log(total/strayShare)
	}
	return sum
}

// odds is the logarithm of the odds of holding a camera so.
func (s *solver) odds(m model) float64 {
	return -0.5 * (sq((m[pitch]-s.mean[pitch])/s.prior[pitch]) + sq((m[roll]-s.mean[roll])/s.prior[roll]) +
		sq(m[skewP]/s.prior[skewP]) + sq(m[skewR]/s.prior[skewR]))
}

// likeliest returns the scatter that explains the view best, and the evidence.
func (s *solver) likeliest(m model) (scatter, evidence float64) {
	evidence = math.Inf(-1)
	for _, c := range scatters {
		if e := s.judge(m, c); e > evidence {
			scatter, evidence = c, e
		}
	}
	return scatter, evidence
}

// turns finds up to three frames, by their azimuths, that explain most of the
// lines which are not upright under m, best first, and sets s.along to the
// likelihood that the second and third give each line. Walls make one frame,
// a table set askew another; all of them say where the horizon is.
func (s *solver) turns(m model) (yaws []float64) {
	s.along = nil
	m[yaw] = 0
	s.judge(m, coarse)
	const step = 2 * math.Pi / 180
	const n = 45
	total := make([]float64, len(s.obs))
	busy := make([]int, 0, len(s.obs))
	down := m.axes()[0]
	for i, r := range s.undrawn {
		total[i] = strayShare
		if !ambiguous(r, down) {
			total[i] += upShare * likelihood(r.miss(down), sq(s.obs[i].sigma)+sq(coarse))
		}
		busy = append(busy, i)
	}
	busy = s.heaviest(busy)
	gain := make([][]float64, n)
	for k := range gain {
		a := model{pitch: m[pitch], roll: m[roll], yaw: float64(k)*step - math.Pi/4}.axes()
		gain[k] = make([]float64, len(s.obs))
		for i, r := range s.undrawn {
			variance := sq(s.obs[i].sigma) + sq(askew*coarse)
			for _, v := range a[1:] {
				if !ambiguous(r, v) {
					gain[k][i] += alongShare * likelihood(r.miss(v), variance)
				}
			}
		}
	}
	for len(yaws) < 3 {
		best, most := -1, 4.0
		for k, g := range gain {
			var sum float64
			for _, i := range busy {
				sum += s.obs[i].weight * s.unit * math.Log(1+g[i]/total[i])
			}
			if sum > most {
				best, most = k, sum
			}
		}
		if best < 0 {
			break
		}
		for i := range total {
			total[i] += gain[best][i]
		}
		yaws = append(yaws, float64(best)*step-math.Pi/4)
		if len(yaws) == 2 {
			s.along = make([]float64, len(s.obs))
		}
		if len(yaws) > 1 {
			for i := range s.along {
				s.along[i] += gain[best][i]
			}
		}
	}
	return yaws
}

// heaviest keeps the observations that say most: enough to tell poses apart.
func (s *solver) heaviest(list []int) []int {
	const enough = 600
	if len(list) <= enough {
		return list
	}
	slices.SortStableFunc(list, func(a, b int) int { return compare(s.obs[b].weight, s.obs[a].weight) })
	return list[:enough]
}
