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
	strayShare = 0.55
	upShare    = 0.2
	alongShare = 0.125 // of each of two directions, over all frames
)

// split is how the frames of a view that has one or two share the lines along them.
var split = [maxFrames][maxFrames]float64{{1}, {0.65, 0.35}}

// scatters are the standard deviations in radians of real uprights about the
// vertical that are tried (0.08 to 0.5 degrees): building tolerances and what the
// lens model and the detector leave. Each view takes the likeliest.
var scatters = [...]float64{0.0014, 0.0025, 0.0045, 0.008}

// coarse is the scatter the search starts with: its grid leaves that much.
const coarse = 0.012

// askew is the scatter of lines that ought to be horizontal beside that of
// uprights: rooms and what stands in them are less square than they are upright.
const askew = 2.0

// bell is the density of an error of angle e under Student's t with three degrees of
// freedom, relative to that of a stray line, whose angle is anything. The heavy tails
// let a line be wrong without pulling.
type bell struct{ variance, peak, narrow float64 }

func newBell(variance float64) bell {
	return bell{variance, 2 / math.Sqrt(3*variance), 1 / (3 * variance)}
}

func (b bell) at(e float64) float64 {
	q := 1 + e*e*b.narrow
	return b.peak / (q * q)
}

// opinion is what one observation says under the current model.
type opinion struct {
	assigned int8    // 0 down, 1 across, 2 depth, 3 and on those of further frames, -1 none
	residual float64 // sine of the angle to that vanishing point
	share    float64 // probability that it belongs there
	variance float64
	each     [1 + 2*maxFrames]chance // of all directions
}

// chance is the probability that a line belongs to one direction, and its error if so.
type chance struct{ share, residual float64 }

// judge works out, for each observation, with what probability it belongs to which
// direction, and returns the evidence for the model: the weighted
// logarithm of the likelihood ratio to lines of any direction, priors included.
func (s *solver) judge(m model, scatter float64) float64 {
	s.project(m)
	all := m.directions(s.frames)
	ax := all[:1+2*s.frames]
	sum := s.odds(m)
	for i, r := range s.undrawn {
		o, v := &s.obs[i], &s.lines[i]
		own := o.sigma * o.sigma
		up, along := newBell(own+sq(scatter)), newBell(own+sq(askew*scatter))
		v.assigned, v.share = -1, 0
		total := strayShare
		for k, a := range ax {
			c := &v.each[k]
			*c = chance{}
			if ambiguous(r, a) {
				continue
			}
			c.residual = r.miss(a)
			if k == 0 {
				c.share = upShare * up.at(c.residual)
			} else {
				c.share = alongShare * split[s.frames-1][(k-1)/2] * along.at(c.residual)
			}
			total += c.share
			if c.share > v.share {
				v.assigned, v.share, v.residual, v.variance = int8(k), c.share, c.residual, along.variance
				if k == 0 {
					v.variance = up.variance
				}
			}
		}
		v.share /= total
		for k := range ax {
			v.each[k].share /= total
		}
		sum += o.weight * s.unit * math.Log(total/strayShare)
	}
	return sum
}

// shared is by how much lines that belong to one thing, and share its error, make the
// evidence look stronger than it is.
const shared = 4

// odds is the logarithm of the odds of holding a camera so, on the scale of the evidence.
// Roll has heavy tails, Student's t with three degrees of freedom: a camera is level,
// more or less, or turned on purpose.
func (s *solver) odds(m model) float64 {
	z := func(p int) float64 { return sq((m[p] - s.mean[p]) / s.prior[p]) }
	return -shared * (z(pitch)/2 + 2*math.Log(1+z(roll)/3) + z(skewP)/2 + z(skewR)/2)
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

// turns finds up to two frames, by their azimuths, that explain most of the lines which
// are not upright under m, best first. Walls make one frame, a table set askew another;
// both say where the horizon is.
func (s *solver) turns(m model) (found []float64) {
	m[yaw] = 0
	s.project(m)
	const step = 2 * math.Pi / 180
	const n = 45
	total := make([]float64, len(s.obs))
	busy := make([]int, 0, len(s.obs))
	down := m.axes()[0]
	for i, r := range s.undrawn {
		total[i] = strayShare
		if !ambiguous(r, down) {
			total[i] += upShare * newBell(sq(s.obs[i].sigma)+sq(coarse)).at(r.miss(down))
		}
		busy = append(busy, i)
	}
	busy = s.heaviest(busy)
	gain := make([][]float64, n)
	for k := range gain {
		a := model{pitch: m[pitch], roll: m[roll], yaw: float64(k)*step - math.Pi/4}.axes()
		gain[k] = make([]float64, len(s.obs))
		for _, i := range busy {
			r := s.undrawn[i]
			b := newBell(sq(s.obs[i].sigma) + sq(askew*coarse))
			for _, v := range a[1:] {
				if !ambiguous(r, v) {
					gain[k][i] += alongShare * b.at(r.miss(v))
				}
			}
		}
	}
	for len(found) < maxFrames {
		best, most := -1, 4.0
		part := split[maxFrames-1][len(found)]
		for k, g := range gain {
			var sum float64
			for _, i := range busy {
				sum += s.obs[i].weight * s.unit * math.Log(1+part*g[i]/total[i])
			}
			if sum > most {
				best, most = k, sum
			}
		}
		if best < 0 {
			break
		}
		for _, i := range busy {
			total[i] += part * gain[best][i]
		}
		found = append(found, float64(best)*step-math.Pi/4)
	}
	return found
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
