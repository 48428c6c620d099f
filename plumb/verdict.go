package plumb

import (
	"fmt"
	"math"
	"slices"
)

// pose judges the fitted model: how many lines agree, how well they pin it down,
// and whether another answer was nearly as good.
func (s *solver) pose(m model, rival float64) Pose {
	scatter, _ := s.likeliest(m)
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
	agree, upright := s.support(m, &p)
	chance := s.beyondChance()
	switch {
	case p.Verticals < 3:
		p.Note = "no three vertical lines agree: left as it is"
		return p
	default:
		// A large tilt may be known less well: correcting it still helps.
		tolerable := max(0.5, 0.2*math.Hypot(p.PitchDeg, p.RollDeg))
		// Several verticals, tightly determined, in the majority, without a rival, and
		// more than stray lines would give.
		p.Confidence = soft(float64(p.Verticals), 4) * math.Exp(-sq(p.SigmaDeg/tolerable)) *
			soft(agree/max(upright, 1e-9), 0.4) * soft(1-rival, 0.15) * soft(chance, 3)
		if s.freeF {
			p.Confidence *= 0.9
		}
	}
	s.judgeYaw(m, sigmas, &p)
	p.Note = fmt.Sprintf("%d vertical lines agree within %.2f degrees", p.Verticals, p.ResidualDeg)
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

// support counts the segments that agree on the vertical, sets the residual, and
// returns their length and that of all lines within 8 degrees of it.
func (s *solver) support(m model, p *Pose) (agree, upright float64) {
	down := m.axes()[0]
	var res []float64
	last := -1
	for i, r := range s.undrawn {
		o := &s.obs[i]
		e := math.Abs(math.Asin(max(-1, min(1, r.miss(down)))))
		if e < rad(8) {
			upright += o.weight
		}
		if v := &s.lines[i]; v.assigned != 0 || v.share < 0.5 {
			continue
		}
		agree += o.weight
		res = append(res, deg(e))
		if o.seg != last {
			p.Verticals++
			last = o.seg
		}
	}
	if len(res) > 0 {
		slices.Sort(res)
		p.ResidualDeg = res[len(res)/2]
	}
	return agree, upright
}

// beyondChance returns by how much the evidence of the verticals exceeds what the
// best pose finds in a heap of as many stray lines. That is 0.22 a line, give or
// take half the root of their number (measured on random heaps).
func (s *solver) beyondChance() float64 {
	n := float64(len(s.obs))
	return (s.uprightEvidence() - 0.22*n) / math.Sqrt(n)
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
