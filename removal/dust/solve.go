package dust

import (
	"cmp"
	"math"
	"slices"
)

// Solve returns, by group, the dust that the views agree on, deepest first. The order
// of the views and how often a composition was taken don't matter. A nil view is none.
func Solve(views []*Evidence) map[string][]Spot {
	type form struct {
		group string
		w, h  int
	}
	byForm := map[form][]*Evidence{}
	for _, e := range views {
		if e != nil {
			f := form{e.Group, e.W, e.H}
			byForm[f] = append(byForm[f], e)
		}
	}
	out := map[string][]Spot{}
	for f, list := range byForm {
		out[f.group] = append(out[f.group], solve(list)...)
	}
	for g, spots := range out {
		slices.SortFunc(spots, func(a, b Spot) int {
			return cmp.Or(cmp.Compare(b.Depth(), a.Depth()), cmp.Compare(a.Y, b.Y), cmp.Compare(a.X, b.X))
		})
		if len(spots) > most {
			spots = nil
		}
		out[g] = spots
	}
	return out
}

// found is a place where the compositions agree.
type found struct {
	x, y float64
	r    int // index of the radius
	Spot
}

// solve finds the spots of views that can have the same.
func solve(list []*Evidence) []Spot {
	of, n := compositions(list)
	if n < fewest {
		return nil
	}
	var all []found
	for k := range radii {
		all = append(all, agree(list, of, n, k)...)
	}
	slices.SortFunc(all, func(a, b found) int { // deepest first, places decide ties
		return cmp.Or(cmp.Compare(b.Depth(), a.Depth()), cmp.Compare(a.y, b.y), cmp.Compare(a.x, b.x), cmp.Compare(a.r, b.r))
	})
	var kept []found
	for _, c := range all {
		if !slices.ContainsFunc(kept, func(k found) bool {
			return math.Hypot(k.x-c.x, k.y-c.y) < float64(max(radii[k.r], radii[c.r]))
		}) {
			kept = append(kept, c)
		}
	}
	out := make([]Spot, len(kept))
	for i, k := range kept {
		out[i] = k.Spot
	}
	return out
}

// agree are the places that enough compositions show at one radius, and that at most
// one in five of those that could show it lack.
func agree(list []*Evidence, of []int, n, k int) []found {
	type seen struct {
		Mark
		view int
	}
	var marks []seen
	for i, e := range list {
		for _, m := range e.Marks {
			if m.R == k {
				marks = append(marks, seen{m, i})
			}
		}
	}
	slices.SortFunc(marks, func(a, b seen) int {
		return cmp.Or(cmp.Compare(a.Lack, b.Lack), cmp.Compare(a.Y, b.Y), cmp.Compare(a.X, b.X), cmp.Compare(a.Tint, b.Tint), slices.Compare(a.Shade, b.Shade))
	})
	near := max(1.5, float64(radii[k])/5)
	var out []found
	for _, first := range marks {
		x, y := float64(first.X), float64(first.Y)
		if slices.ContainsFunc(out, func(f found) bool { return math.Hypot(f.x-x, f.y-y) < float64(radii[k]) }) {
			continue
		}
		best := make([]*seen, n) // of each composition
		for i := range marks {
			m := &marks[i]
			if best[of[m.view]] == nil && math.Hypot(float64(m.X)-x, float64(m.Y)-y) <= near {
				best[of[m.view]] = m
			}
		}
		lacking := make([]bool, n)
		for i, e := range list {
			lacking[of[i]] = lacking[of[i]] || best[of[i]] == nil && e.able(k, x, y)
		}
		var shown []Mark
		without := 0
		for i := range n {
			if best[i] != nil {
				shown = append(shown, best[i].Mark)
			} else if lacking[i] {
				without++
			}
		}
		if len(shown) < fewest || 5*without > len(shown)+without {
			continue
		}
		if f, ok := settle(shown, without, k, list[0].W); ok {
			out = append(out, f)
		}
	}
	return out
}

// settle makes one spot of its marks: at each distance the median of what is missing,
// where a composition that lacks it counts as nothing missing.
func settle(shown []Mark, without, k, w int) (found, bool) {
	var xs, ys, tints []float64
	for _, m := range shown {
		xs, ys, tints = append(xs, float64(m.X)), append(ys, float64(m.Y)), append(tints, float64(m.Tint))
	}
	r := radii[k]
	f := found{x: median(xs), y: median(ys), r: k}
	f.Spot = Spot{X: f.x / float64(w), Y: f.y / float64(w), Radius: float64(r) / float64(w), Views: len(shown)}
	last := math.Inf(-1)
	for b := range r + 1 {
		v := make([]float64, 0, len(shown)+without)
		for _, m := range shown {
			if b < len(m.Shade) {
				v = append(v, float64(m.Shade[b])/1000)
			}
		}
		for range without {
			v = append(v, 0)
		}
		if len(v) == 0 {
			return f, false
		}
		last = max(last, min(0, median(v))) // a shadow only gets lighter outwards
		f.Shade = append(f.Shade, last)
	}
	f.Shade[r] = 0
	switch depth := f.Depth(); {
	case depth < faintest, f.Shade[r/2] < 0.85*f.Shade[0]: // too faint, or an edge rather than a spot
		return f, false
	case math.Abs(median(tints)) > 500*depth+20: // dust is grey
		return f, false
	}
	return f, true
}

func median(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}

// compositions numbers the compositions of the views: of two views that look the same
// all over, whatever is real is at the same place too, so they count as one. A view
// too plain to be told from others is taken for the same: it is safer to miss a spot
// than to mend what is real.
func compositions(list []*Evidence) (of []int, n int) {
	of = make([]int, len(list))
	for i := range of {
		of[i] = i
	}
	for i := range list {
		for j := range i {
			if of[i] != of[j] && alike(list[i].Scene, list[j].Scene) {
				from, to := max(of[i], of[j]), min(of[i], of[j])
				for k := range of {
					if of[k] == from {
						of[k] = to
					}
				}
			}
		}
	}
	number := map[int]int{}
	for i, c := range of {
		if _, ok := number[c]; !ok {
			number[c] = len(number)
		}
		of[i] = number[c]
	}
	return of, len(number)
}

// alike compares two thumbnails, whatever their brightness: the same when they differ
// by less than a third of what is in them.
func alike(a, b []int8) bool {
	if len(a) != len(b) || len(a) == 0 {
		return false
	}
	var sa, sb, saa, sbb, sd float64
	for i := range a {
		x, y := float64(a[i]), float64(b[i])
		sa, sb, saa, sbb, sd = sa+x, sb+y, saa+x*x, sbb+y*y, sd+(x-y)*(x-y)
	}
	n := float64(len(a))
	va, vb := saa/n-sa*sa/n/n, sbb/n-sb*sb/n/n
	vd := sd/n - (sa-sb)*(sa-sb)/n/n
	return vd <= max(va, vb)/9 || vd <= 4 // or by less than an eighth of an EV
}
