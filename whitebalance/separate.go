package whitebalance

import (
	"cmp"
	"math"
	"slices"
)

// border is the colour step across the line where two surfaces meet.
type border struct {
	a, b   int32
	step   logRGB // a minus b: median over the pixel pairs
	spread float64
	n      int
}

// reach is how far apart, in pixels, the two sides of an edge are compared: past
// its blur.
const reach = 3

type pair struct {
	a, b int32
	d    [3]float32 // a minus b
}

// borders lists the steps between surfaces that meet.
func (v *view) borders() []border {
	var pairs []pair
	add := func(i, j int) {
		a, b := v.label[i], v.label[j]
		if a < 0 || b < 0 || a == b {
			return
		}
		d := [3]float32{v.c[0][i] - v.c[0][j], v.c[1][i] - v.c[1][j], v.c[2][i] - v.c[2][j]}
		if a > b {
			a, b, d = b, a, [3]float32{-d[0], -d[1], -d[2]}
		}
		pairs = append(pairs, pair{a, b, d})
	}
	for y := range v.h {
		for x := range v.w {
			i := y*v.w + x
			if x+reach < v.w {
				add(i, i+reach)
			}
			if y+reach < v.h {
				add(i, i+reach*v.w)
			}
		}
	}
	slices.SortFunc(pairs, func(p, q pair) int {
		return cmp.Or(cmp.Compare(p.a, q.a), cmp.Compare(p.b, q.b))
	})
	var out []border
	for from := 0; from < len(pairs); {
		to := from
		for to < len(pairs) && pairs[to].a == pairs[from].a && pairs[to].b == pairs[from].b {
			to++
		}
		if to-from >= 4 {
			out = append(out, measureBorder(pairs[from:to]))
		}
		from = to
	}
	return out
}

func measureBorder(pairs []pair) border {
	b := border{a: pairs[0].a, b: pairs[0].b, n: len(pairs)}
	one := make([]float64, len(pairs))
	for k := range 3 {
		for i, p := range pairs {
			one[i] = float64(p.d[k])
		}
		slices.Sort(one)
		b.step[k] = one[len(one)/2]
		if k < 2 {
			b.spread += one[len(one)*3/4] - one[len(one)/4]
		}
	}
	return b
}

// separate finds the paint of every surface, up to one common constant, from the
// steps between them: weighted least squares, re-weighted so that a few edges
// where the light itself jumps (a doorway, a patch of sun) do not bend the rest. Pale
// surfaces are drawn towards few paints, see palette.go. It returns the steps.
func (v *view) separate(all []surface) []border {
	if len(all) == 0 {
		return nil
	}
	edges := v.borders()
	centre := meanOf(all)
	for n := range all {
		for k := range 3 {
			all[n].paint[k] = all[n].mean[k] - centre[k]
		}
	}
	base := make([]float64, len(edges))
	for i, e := range edges {
		// A step in brightness makes the step in colour less sure: dark, glossy
		// floors mirror the windows.
		base[i] = float64(e.n) / (0.05 + e.spread) / (1 + 4*math.Abs(e.step[2]))
	}
	for _, k := range [3]int{2, 0, 1} { // luminance first, as it tells what is pale
		ties := make([]tie, len(edges), 2*len(edges))
		for pass := range 6 {
			ties = ties[:len(edges)]
			for i, e := range edges {
				r := 0.0
				if pass > 0 {
					r = all[e.a].paint[k] - all[e.b].paint[k] - e.step[k]
				}
				ties[i] = tie{e.a, e.b, base[i] / (0.03 + math.Abs(r)), e.step[k]}
			}
			if k < 2 {
				bright := brightOf(all)
				for i, e := range edges {
					if w := sameness(all, e, k, base[i], bright); w > 0 {
						ties = append(ties, tie{e.a, e.b, w, 0})
					}
				}
			}
			relax(all, ties, k, centre[k])
		}
	}
	gatherPaints(all)
	return edges
}

// tie says that paint a less paint b is step.
type tie struct {
	a, b         int32
	weight, step float64
}

// relax solves for plane k of the paints by Gauss-Seidel with over-relaxation. A
// faint pull towards the picture's own colour settles surfaces that meet no
// other.
func relax(all []surface, ties []tie, k int, centre float64) {
	type pull struct {
		to   int32
		w, d float64
	}
	pulls := make([][]pull, len(all))
	for _, t := range ties {
		pulls[t.a] = append(pulls[t.a], pull{t.b, t.weight, t.step})
		pulls[t.b] = append(pulls[t.b], pull{t.a, t.weight, -t.step})
	}
	for range 60 {
		for n := range all {
			own := 0.02 * float64(all[n].area)
			sum, w := own*(all[n].mean[k]-centre), own
			for _, t := range pulls[n] {
				sum += t.w * (all[t.to].paint[k] + t.d)
				w += t.w
			}
			all[n].paint[k] += 1.5 * (sum/w - all[n].paint[k])
		}
	}
}

// meanOf is the mean colour of the surfaces by area.
func meanOf(all []surface) (m logRGB) {
	var area float64
	for _, s := range all {
		for k := range 3 {
			m[k] += s.mean[k] * float64(s.area)
		}
		area += float64(s.area)
	}
	for k := range 3 {
		m[k] /= area
	}
	return m
}
