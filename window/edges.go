package window

import (
	"cmp"
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

const (
	edgeLeast = 0.35 // EV: luminance and colour together
	edgeShare = 0.72 // of the rays that must meet an edge
)

// line is a straight edge across rays: sample position at both ends of the side.
type line struct {
	k0, k1 int
	weight float64 // part of the rays that meet it times their median strength, EV
}

func (l line) at(t float64) float64 { return float64(l.k0) + float64(l.k1-l.k0)*t }

// edges returns the straight edges that run across all rays, in their order: those that
// are brighter on one side all along, or whose colour changes. Within leaves and shadows
// there is an edge wherever one looks, but of either kind. turn is by how many samples an
// edge may lie further along one end than along the other.
func (r *rays) edges(turn int) []line {
	brighter := r.lines(turn, edgeLeast, func(s, k int) float32 { return r.edgeAt(s, k, 1) })
	darker := r.lines(turn, edgeLeast, func(s, k int) float32 { return r.edgeAt(s, k, -1) })
	return apart(append(brighter, darker...))
}

// lines returns the straight lines along which strength, EV, has a local maximum of at
// least the given size on most rays, in order, the strongest of those that meet.
func (r *rays) lines(turn int, least float32, strength func(s, k int) float32) []line {
	hit := r.hits(least, strength)
	found := make([][]line, 2*turn+1)
	_ = raster.BandsOf(context.Background(), len(found), 4, func(from, to int) { // a few milliseconds: nobody stops it
		at, v := make([]int32, r.n), make([]float32, 0, r.n)
		for i := from; i < to; i++ {
			turned := i - turn
			for s, t := range r.share { // where a line from 0 on crosses the rays
				at[s] = int32(s*r.depth) + int32(math.Floor(float64(turned)*t+0.5))
			}
			for k0 := max(2, 2-turned); k0 < r.depth-1-max(0, turned); k0++ {
				if r.meetsMost(k0, at, hit) {
					found[i] = append(found[i], line{k0: k0, k1: k0 + turned, weight: r.weight(k0, at, hit, v)})
				}
			}
		}
	})
	all := slices.Concat(found...)
	return apart(all)
}

// weight is the part of the rays that meet such a line times their median strength, EV. v
// is scratch.
func (r *rays) weight(k0 int, at []int32, hit, v []float32) float64 {
	n := 0
	for _, i := range at {
		e := hit[k0+int(i)]
		if e > 0 {
			n++
		}
		if e >= 0 {
			v = append(v, e)
		}
	}
	return float64(n) / float64(len(v)) * median(v)
}

// apart keeps the strongest of lines that meet, in order.
func apart(all []line) []line {
	order := func(a, b line) int { return cmp.Or(cmp.Compare(a.k0+a.k1, b.k0+b.k1), cmp.Compare(a.k0, b.k0)) }
	slices.SortFunc(all, func(a, b line) int { return cmp.Or(cmp.Compare(b.weight, a.weight), order(a, b)) })
	var out []line
	for _, l := range all {
		if !slices.ContainsFunc(out, l.meets) {
			out = append(out, l)
		}
	}
	slices.SortFunc(out, order)
	return out
}

// meetsMost says whether a line meets enough of the rays that count where it crosses
// them, which is at those places of hit from k0 on, and at least half of all do.
func (r *rays) meetsMost(k0 int, at []int32, hit []float32) bool {
	may := int(float64(r.n) * (1 - edgeShare)) // misses
	n, out := 0, 0
	for _, i := range at {
		switch e := hit[k0+int(i)]; {
		case e > 0:
			n++
		case e < 0:
			if out++; 2*out > r.n {
				return false
			}
		default:
			if may--; may < 0 {
				return false
			}
		}
	}
	return float64(n) >= edgeShare*float64(r.n-out)
}

// hits is the strength of the local maximum within one sample, 0 without, and -1 where
// the ray doesn't count.
func (r *rays) hits(least float32, strength func(s, k int) float32) []float32 {
	hit := make([]float32, r.n*r.depth)
	change := make([]float32, r.depth)
	for s := range r.n {
		for k := range change {
			change[k] = strength(s, k)
		}
		row := hit[s*r.depth : (s+1)*r.depth]
		for k := 2; k+1 < r.depth; k++ {
			e := change[k]
			if e < least || e < change[k-1] || e < change[k+1] {
				continue
			}
			for j := k - 1; j <= k+1; j++ {
				row[j] = max(row[j], e)
			}
		}
		for k := range row {
			if r.void != nil && r.void[s*r.depth+k] {
				row[k] = -1
			}
		}
	}
	return hit
}

// meets says whether two lines are one edge or cross.
func (l line) meets(m line) bool {
	a, b := l.k0-m.k0, l.k1-m.k1
	return abs(a) < 3 || abs(b) < 3 || (a > 0) != (b > 0)
}

// refine places an edge between samples: on each ray it is where the gradient has its
// centre, and through these places goes a line, fitted twice, the second time without
// what lies far from it. It returns the line's positions along the rays at both ends.
func (r *rays) refine(l line) (k0, k1 float64) {
	var t, k []float64
	for s := range r.n {
		c := int(l.at(r.share[s]) + 0.5)
		var sum, at float64
		i := s * r.depth
		for j := max(2, c-2); j <= min(r.depth-2, c+2); j++ {
			e := float64(max(r.edgeAt(s, j, 1), r.edgeAt(s, j, -1)))
			sum += e * e
			at += e * e * (float64(j) - 0.5 + float64(r.shift[i+j]+r.shift[i+j-1])/2)
		}
		if sum > edgeLeast*edgeLeast {
			t, k = append(t, r.share[s]), append(k, at/sum)
		}
	}
	k0, k1 = float64(l.k0)-0.5, float64(l.k1)-0.5
	for _, far := range [2]float64{2, 0.8} {
		var n, st, sk, stt, stk float64
		for i := range t {
			if math.Abs(k[i]-(k0+(k1-k0)*t[i])) > far {
				continue
			}
			n, st, sk = n+1, st+t[i], sk+k[i]
			stt, stk = stt+t[i]*t[i], stk+t[i]*k[i]
		}
		d := n*stt - st*st
		if n < 6 || d < 1e-6 {
			break
		}
		m := (n*stk - st*sk) / d
		k0 = (sk - m*st) / n
		k1 = k0 + m
	}
	return k0, k1
}

// strip is what lies between two edges.
type strip struct {
	level float64 // median log2 luminance
	green float64 // median
	rough float64 // how much it changes along the edges, EV
	wide  int     // samples, where it is widest
	// narrow is the same where it is narrowest.
	narrow int
}

// strip measures what lies from line a to line b, their own samples left out.
func (r *rays) strip(a, b line) strip {
	var level, green, rough []float32
	for s := range r.n {
		t := r.share[s]
		k0, k1 := int(math.Ceil(a.at(t)+1)), int(math.Floor(b.at(t)-2))
		if k1 < k0 {
			k0 = int(a.at(t)+b.at(t)) / 2
			k1 = k0
		}
		for k := max(0, k0); k <= min(r.depth-1, k1); k++ {
			i := s*r.depth + k
			if r.log[i] != r.log[i] || r.void != nil && r.void[i] {
				continue
			}
			level, green = append(level, r.log[i]), append(green, r.green[i])
			if s >= 2 {
				if d := abs32(r.log[i] - r.log[i-2*r.depth]); d == d {
					rough = append(rough, d)
				}
			}
		}
	}
	return strip{median(level), median(green), quantile(rough, 0.6), max(b.k0-a.k0, b.k1-a.k1), min(b.k0-a.k0, b.k1-a.k1)}
}
