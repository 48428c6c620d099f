package whitebalance

import "math"

// A wall that turns away from the window is lit by lamps alone, and so is all that
// hangs on it: the step in light lies on the corner and counts as paint, and the whole
// of the wall's trim, cupboards and curtains seem to be a shade warmer than the same
// things elsewhere in the view. That is how such a shade is told from paint: two
// different things that meet, each like a thing seen elsewhere and one of them white
// there, are both off by the same step along the line of lights. One thing alone, a cream
// wall with white trim, is cream.

const (
	shadeLeast, shadeMost = 0.07, 0.35 // log chroma of a shade
	shadeAlike            = 0.04       // steps that agree
	shadeOff              = 0.03       // how far off the line of lights
	shadeShare            = 0.025      // of the view's area, that a thing seen elsewhere has
	shadeStrength         = 0.8        // beige tiles under cream cupboards look the same
)

// reading is a surface read as a paint that is seen elsewhere, in warmer light.
type reading struct {
	paint int
	step  float64 // negative: warmer
}

// shades returns, for every surface, the part of its paint that is the shade it lies in.
func (t *tally) shades(all []surface, edges []border, white chroma) []chroma {
	out := make([]chroma, len(all))
	along := lightLine(t.light.plus(white))
	warmest := dotChroma(t.Lights[0], along)
	if dotChroma(t.Lights[9], along)-warmest < shadeLeast {
		return out // lit by one light
	}
	readings := make([][]reading, len(all))
	for i := range all {
		if kernel(all[i].paint.chroma().minus(white), alike) < 0.6 { // not white as it is
			readings[i] = t.readings(&all[i], along, warmest)
		}
	}
	met := make([]float64, len(all))   // length of all borders
	agree := make([]float64, len(all)) // of those that speak for a shade
	step := make([]float64, len(all))
	for _, e := range edges {
		n := float64(e.n)
		met[e.a] += n
		met[e.b] += n
		if a, b, ok := t.sameShade(readings[e.a], readings[e.b], white); ok {
			agree[e.a] += n
			agree[e.b] += n
			step[e.a] += n * a
			step[e.b] += n * b
		}
	}
	for i := range out {
		if agree[i] > 0 {
			belief := ramp(agree[i]/met[i], 0.1, 0.4)
			out[i] = along.times(shadeStrength * belief * step[i] / agree[i])
		}
	}
	return out
}

// readings lists the ways to read a surface as a paint seen elsewhere.
func (t *tally) readings(s *surface, along chroma, warmest float64) (out []reading) {
	light := dotChroma(s.mean.chroma().minus(s.paint.chroma()), along)
	for k, p := range t.Paints {
		if p.Share < shadeShare {
			break // largest first
		}
		d := s.paint.chroma().minus(p.chroma())
		step := dotChroma(d, along)
		off := d.minus(along.times(step))
		if step < -shadeLeast && step > -shadeMost && math.Hypot(off[0], off[1]) < shadeOff &&
			s.paint[2] < p.Lum+0.1 && light+step > warmest-shadeLeast {
			out = append(out, reading{k, step})
		}
	}
	return out
}

// sameShade finds readings of two surfaces as different paints, one white, off by the
// same step.
func (t *tally) sameShade(a, b []reading, white chroma) (stepA, stepB float64, ok bool) {
	best := shadeAlike
	for _, p := range a {
		for _, q := range b {
			one, other := t.Paints[p.paint].chroma(), t.Paints[q.paint].chroma()
			apart := one.minus(other)
			if math.Hypot(apart[0], apart[1]) < shadeAlike || math.Max(kernel(one.minus(white), alike), kernel(other.minus(white), alike)) < 0.6 {
				continue
			}
			if r := math.Abs(p.step - q.step); r < best {
				best, stepA, stepB, ok = r, p.step, q.step, true
			}
		}
	}
	return stepA, stepB, ok
}

func dotChroma(a, b chroma) float64 { return a[0]*b[0] + a[1]*b[1] }

// larger is, surface by surface, the longer of two parts.
func larger(a, b []chroma) []chroma {
	for i := range a {
		if math.Hypot(b[i][0], b[i][1]) > math.Hypot(a[i][0], a[i][1]) {
			a[i] = b[i]
		}
	}
	return a
}
