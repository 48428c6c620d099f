package whitebalance

import "math"

// The steps between surfaces were all taken for paint. Where the light itself
// jumps, at the far side of a doorway, on a cabinet that turns to the window, in
// a patch of sun, a white surface then counts as blue or cream paint. It can be
// told by one fact: no paint is brighter than white. A surface that is as bright
// as the view's white or brighter, and whose colour is that of a change along
// the line of daylight and lamps, is taken for white in another light. Only such
// surfaces are: a light blue or cream wall is darker than white and keeps its
// colour.

const (
	jumpFrom, jumpFull = -0.20, 0.10 // ln luminance against white: no and full belief
	jumpOff            = 0.10        // how far off the line of lights the colour may lie
	jumpLeast          = 0.06        // smaller colours along the line are left as paint
)

// jumps returns, for every surface, the part of its paint that is light.
func (t *tally) jumps(all []surface, white chroma) []chroma {
	out := make([]chroma, len(all))
	centre := t.light.plus(white)
	along := lightLine(centre)
	level := t.whiteLevel(white)
	for i, s := range all {
		p := s.paint.chroma().minus(white)
		a := p[0]*along[0] + p[1]*along[1]
		off := p.minus(along.times(a))
		belief := ramp(s.paint[2]-level, jumpFrom, jumpFull) * kernel(off, jumpOff)
		size := math.Max(0, math.Abs(a)-jumpLeast*math.Exp(-math.Abs(a)/jumpLeast))
		out[i] = along.times(math.Copysign(size*belief, a))
	}
	return out
}

// lightLine is the unit direction in which the colour of a white surface moves
// when its light near c turns cooler.
func lightLine(c chroma) chroma {
	d := chromaOf(cooler(c)).minus(c)
	return d.times(1 / math.Hypot(d[0], d[1]))
}

func ramp(x, from, to float64) float64 {
	return math.Max(0, math.Min(1, (x-from)/(to-from)))
}

// whiteLevel is the mean ln luminance of the paints that are white, by vote.
func (t *tally) whiteLevel(white chroma) float64 {
	level, w := 0.0, 1e-9
	for i, p := range t.Paints {
		k := t.vote[i] * kernel(p.chroma().minus(white), alike)
		level += k * p.Lum
		w += k
	}
	return level / w
}

// jumpPlane spreads the surfaces' jumps over all pixels: a pixel between
// surfaces takes the jump of the neighbour whose colour is nearest to its own.
func (v *view) jumpPlane(jump []chroma) (out [2][]float32) {
	n := v.w * v.h
	out[0], out[1] = make([]float32, n), make([]float32, n)
	known := make([]bool, n)
	var edge []int32
	for i, l := range v.label {
		if l >= 0 {
			known[i] = true
			out[0][i], out[1][i] = float32(jump[l][0]), float32(jump[l][1])
		} else {
			edge = append(edge, int32(i))
		}
	}
	for len(edge) > 0 {
		rest := edge[:0:0]
		var done []int32
		for _, i := range edge {
			j := v.nearest(int(i), known)
			if j < 0 {
				rest = append(rest, i)
				continue
			}
			// An unlike pixel believes its neighbour less.
			f := 1 / (1 + v.step(int(i), j)/8)
			out[0][i], out[1][i] = f*out[0][j], f*out[1][j]
			done = append(done, i)
		}
		if len(done) == 0 {
			break // no surface at all
		}
		for _, i := range done {
			known[i] = true
		}
		edge = rest
	}
	return out
}

// nearest returns the known neighbour of pixel i most like it, or -1.
func (v *view) nearest(i int, known []bool) int {
	x, y := i%v.w, i/v.w
	best, least := -1, float32(math.Inf(1))
	try := func(j int) {
		if known[j] {
			if s := v.step(i, j); s < least {
				best, least = j, s
			}
		}
	}
	if x > 0 {
		try(i - 1)
	}
	if x+1 < v.w {
		try(i + 1)
	}
	if y > 0 {
		try(i - v.w)
	}
	if y+1 < v.h {
		try(i + v.w)
	}
	return best
}
