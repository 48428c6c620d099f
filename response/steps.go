package response

import (
	"math"
	"sort"
)

// rounds is how often steps and curve are solved in turn. Each corrects what the other
// took on from it; what is left after so many is far below the rounding of codes.
const rounds = 12

// RecoverSteps is [Recover] for frames that do not say how they were exposed: it solves
// the steps between them together with the curve. Frames are told apart by order, the
// places' codes of the darkest first. One thing stays open, a power of all light, by
// which curve and steps grow together (Grossberg & Nayar, PAMI 25, 2003): it is chosen
// so that the curve is as steep over all as the assumed one. What can be known is then
// known: frames agree with each other wherever they show the same. The exposures are
// returned in EV, 0 for the first frame.
//
// It fails with [ErrTooLittle] as Recover does, when two neighbouring frames show too
// little of the same things, and when on places that had no part in the recovery the
// frames don't agree better than by the assumed curve: then no one curve explains them.
func RecoverSteps(places []Place, assumed *Curve, opt Options) (*Curve, []float64, error) {
	var learn, held []Place
	for i, p := range places {
		if i%4 == 3 {
			held = append(held, p)
		} else {
			learn = append(learn, p)
		}
	}
	before, ok := steps(learn, assumed)
	if !ok {
		return nil, nil, ErrTooLittle
	}
	c, ev := assumed, before
	for range rounds {
		next, err := Recover(learn, ev, assumed, opt)
		if err != nil {
			return nil, nil, err
		}
		c = flattened(next, assumed)
		if ev, ok = steps(learn, c); !ok {
			return nil, nil, ErrTooLittle
		}
	}
	if !(misfit(held, c, ev) < misfit(held, assumed, before)) {
		return nil, nil, ErrTooLittle
	}
	return c, ev, nil
}

// fewPlaces is how many places two neighbouring frames have to show in common.
const fewPlaces = 100

// steps measures the exposures by a curve, in EV from the first frame on: the median of
// what neighbours differ by over the places that both show well.
func steps(places []Place, c *Curve) ([]float64, bool) {
	if len(places) == 0 {
		return nil, false
	}
	ev := make([]float64, len(places[0]))
	var d []float64
	for j := 1; j < len(ev); j++ {
		d = d[:0]
		for _, p := range places {
			if min(weight(p[j-1]), weight(p[j])) > 0.1 {
				d = append(d, c[p[j]]-c[p[j-1]])
			}
		}
		if len(d) < fewPlaces {
			return nil, false
		}
		sort.Float64s(d)
		ev[j] = ev[j-1] + d[len(d)/2]/math.Ln2
	}
	return ev, true
}

// flattened is c raised to the power that makes it as steep as the assumed curve, by
// least squares over the codes as far as they are trusted.
func flattened(c, assumed *Curve) *Curve {
	var sw, sa, sc, saa, sac float64
	for z := range c {
		w := weight(uint8(z))
		sw, sa, sc = sw+w, sa+w*assumed[z], sc+w*c[z]
		saa, sac = saa+w*assumed[z]*assumed[z], sac+w*assumed[z]*c[z]
	}
	k := (saa - sa*sa/sw) / (sac - sa*sc/sw)
	out := *c
	for z := range out {
		out[z] *= k
	}
	return &out
}

// misfit is the median of what two neighbouring frames disagree by about a place, as a
// share of the whole range of exposures: a power of all light changes nothing about it.
func misfit(places []Place, c *Curve, ev []float64) float64 {
	var d []float64
	for _, p := range places {
		for j := 1; j < len(p); j++ {
			if min(weight(p[j-1]), weight(p[j])) > 0.1 {
				d = append(d, math.Abs(c[p[j]]-c[p[j-1]]-(ev[j]-ev[j-1])*math.Ln2))
			}
		}
	}
	if len(d) == 0 {
		return math.Inf(1)
	}
	sort.Float64s(d)
	return d[len(d)/2] / math.Abs(ev[len(ev)-1]-ev[0])
}
