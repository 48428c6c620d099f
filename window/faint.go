package window

import "math"

// A strip of a neighbour's wall between the frame and the sky is as smooth, as neutral and
// as straight as a reveal, and may be as bright as the reveal beside it. But faces of a
// frame that meet turn towards each other and so differ in their light, and two that face
// the same way are parted by one that only the room lights. So of two bright faces with but
// a faint edge between them the inner one is beyond the glass.
const (
	faintLeast = 0.06 // EV of luminance and colour together
	faintTimes = 3    // the change beside the edge
	clearOf    = 5    // samples from the edges between which it lies: their blur reaches no further
	faintWide  = 3    // samples to both sides where
	faintLeft  = 0.6  // of it is left at most: glare goes on growing towards its source
	besides    = 3    // positions beside the edge to compare it with, at least
	sections   = 6    // of the side
)

// faint returns the straight edge between two others that is too faint for edges, or where
// now one side is brighter and now the other, but stands out from what is beside it.
func (r *rays) faint(a, b line) (line, bool) {
	var best line
	for k0 := a.k0 + clearOf; k0 <= b.k0-clearOf; k0++ {
		for k1 := a.k1 + clearOf; k1 <= b.k1-clearOf; k1++ {
			l := line{k0: k0, k1: k1}
			if l.weight = r.change(l); l.weight > best.weight {
				best = l
			}
		}
	}
	if best.weight < faintLeast {
		return line{}, false
	}
	shifted := func(d int) float64 { return r.change(line{k0: best.k0 + d, k1: best.k1 + d}) }
	if max(shifted(-faintWide), shifted(faintWide)) > faintLeft*best.weight {
		return line{}, false
	}
	var beside []float32
	from, to := max(a.k0-best.k0, a.k1-best.k1)+clearOf, min(b.k0-best.k0, b.k1-best.k1)-clearOf
	for d := from; d <= to; d++ {
		if abs(d) >= faintWide {
			beside = append(beside, float32(shifted(d)))
		}
	}
	return best, len(beside) >= besides && best.weight > faintTimes*median(beside)
}

// change is by how much the picture changes across a line, EV: the median over the sections
// of the side. Within a section changes are added with their sign, so that noise and leaves
// fall out.
func (r *rays) change(l line) float64 {
	var sum [sections][3]float64
	var n [sections]float64
	for s := range r.n {
		i := s*r.depth + int(l.at(r.share[s])+0.5)
		c := s * sections / r.n
		d := func(v []float32) float64 { return float64(v[i]+v[i+1]-v[i-1]-v[i-2]) / 2 }
		if e := d(r.log); e == e {
			sum[c][0], sum[c][1], sum[c][2] = sum[c][0]+e, sum[c][1]+d(r.warm), sum[c][2]+d(r.green)
			n[c]++
		}
	}
	var v []float32
	for c, m := range sum {
		if n[c] > 0 {
			v = append(v, float32((math.Abs(m[0])+0.7*math.Abs(m[1])+1.4*math.Abs(m[2]))/n[c]))
		}
	}
	return median(v)
}
