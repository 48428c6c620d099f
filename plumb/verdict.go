package plumb

import (
	"fmt"
	"math"
	"slices"
)

// pose judges the fitted model: how many lines agree, how well they pin it down,
// and how far it is ahead of other answers (see lead).
func (s *solver) pose(m model, ahead lead) Pose {
	scatter, evidence := s.likeliest(m)
	// With an unknown focal length pitch is known up to a factor; the vanishing
	// point, which is what gets corrected, is known better.
	unknownFocal := s.freeF
	s.freeF = false
	sigmas := s.sigmas(m, scatter)
	s.freeF = unknownFocal
	s.judge(m, scatter)
	p := Pose{
		PitchDeg: deg(m[pitch]), RollDeg: deg(m[roll]),
		SigmaDeg: deg(max(sigmas[pitch], sigmas[roll])),
		FocalPx:  s.focal(m), FocalKnown: !s.freeF, Profile: s.v.Profile,
		Centre: s.v.centre(),
	}
	across, depth := s.support(m, &p)
	level := min(across, depth) // two horizontal directions say as much as uprights
	if p.Verticals < 3 && (level < 3 || s.freeF) {
		p.Note = "no three vertical lines agree: left as it is"
		return p
	}
	// A large tilt may be known less well: correcting it still helps.
	tolerable := max(0.5, 0.2*math.Hypot(p.PitchDeg, p.RollDeg))
	// Several lines, tightly determined, ahead of any rival, and more than stray lines
	// would give.
	p.Confidence = soft(float64(p.Verticals+level), 4) * math.Exp(-sq(p.SigmaDeg/tolerable)) *
		soft(ahead.worse, 1.5) * (0.7 + 0.3*soft(ahead.any, 3)) * soft(s.beyondChance(evidence), 3)
	if s.freeF {
		p.Confidence *= 0.9
	}
	s.judgeYaw(m, sigmas, &p)
	p.Note = fmt.Sprintf("%d vertical lines agree within %.2f degrees", p.Verticals, p.ResidualDeg)
	if p.Verticals < 3 {
		p.Note = fmt.Sprintf("hardly any verticals: level by %d lines across and %d into the depth", across, depth)
	}
	if s.freeF {
		p.Note += "; focal length unknown, solved from the lines"
	}
	if p.Confidence < Sure {
		p.Note += "; not sure enough: left as it is"
	}
	return p
}

// Sure is the confidence from which a pose is acted on.
const Sure = 0.5

// soft grows from 0 to 1 and passes 0.8 at its scale.
func soft(x, scale float64) float64 {
	x = max(0, x) / scale
	return x * x / (x*x + 0.25)
}

// support counts the segments that agree on the vertical and on the horizontals, and
// sets the residual of the verticals.
func (s *solver) support(m model, p *Pose) (across, depth int) {
	down := m.axes()[0]
	var res []float64
	var count [1 + 2*maxFrames]int
	last := -1
	for i, r := range s.undrawn {
		v := &s.lines[i]
		if v.assigned < 0 || v.share < 0.5 {
			continue
		}
		if v.assigned == 0 {
			res = append(res, deg(math.Abs(math.Asin(max(-1, min(1, r.miss(down)))))))
		}
		if s.obs[i].seg != last {
			count[v.assigned]++
			last = s.obs[i].seg
		}
	}
	if len(res) > 0 {
		slices.Sort(res)
		p.ResidualDeg = res[len(res)/2]
	}
	p.Verticals = count[0]
	return count[1], count[2]
}

// beyondChance returns by how much evidence exceeds what the best pose finds in a heap
// of as many stray lines, in units of the root of their number. That is 0.32 a line and
// 3.8 such units, give or take half a one (measured on random heaps of 60 to 960 lines).
func (s *solver) beyondChance(evidence float64) float64 {
	n := float64(len(s.obs))
	return (evidence-0.32*n)/math.Sqrt(n) - 3.8
}

// sigmas returns the standard errors of the parameters: the inverse of the
// normal matrix scaled by the misfit. Lines of one thing share its error, so
// it's taken double.
func (s *solver) sigmas(m model, scatter float64) model {
	free := s.free()
	n := len(free)
	a := s.normal(m, scatter)
	s.judge(m, scatter)
	var chi, count float64
	for i := range s.obs {
		if v := &s.lines[i]; v.assigned >= 0 && v.share > 0.5 {
			chi += s.weigh(i) * sq(v.residual)
			count++
		}
	}
	misfit := 2 * math.Sqrt(max(1, chi/max(1, count-float64(n))))
	var out model
	for j, p := range free {
		// Column j of the inverse.
		b := make([][]float64, n)
		for r := range b {
			b[r] = append([]float64(nil), a[r][:n]...)
			b[r] = append(b[r], 0)
		}
		b[j][n] = 1
		if x, ok := solve(b); ok && x[j] > 0 {
			out[p] = misfit * math.Sqrt(x[j])
		} else {
			out[p] = s.prior[p]
		}
	}
	return out
}

// judgeYaw decides whether the view is meant to be straight on: little yaw, and
// enough lines into the depth and across that agree on it.
func (s *solver) judgeYaw(m model, sigmas model, p *Pose) {
	p.YawDeg = deg(m[yaw])
	var across, depth float64
	for i := range s.obs {
		if s.lines[i].share < 0.5 {
			continue
		}
		switch s.lines[i].assigned {
		case 1:
			across += s.obs[i].weight
		case 2:
			depth += s.obs[i].weight
		}
	}
	p.Straight = math.Abs(p.YawDeg) <= straightOn && deg(sigmas[yaw]) < 0.3 &&
		p.Confidence >= Sure && across > 0.6 && depth > 0.3
}
