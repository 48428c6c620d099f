package group

import (
	"fmt"
	"math"
	"strings"

	"mullion/metadata"
)

const bracketMode = metadata.ModeBracket

// cut finds the best cut of a run into views and the probability of each
// boundary.
func (r *run) cut(h habits) {
	n := len(r.frames)
	r.scores = make([][]float64, n)
	for i := range n {
		r.scores[i] = make([]float64, min(longest, n-i))
		for l := range r.scores[i] {
			r.scores[i][l] = r.score(i, i+l+1, h)
		}
	}
	r.best()
	r.boundaries()
}

// best is the Viterbi recursion over the ends of views.
func (r *run) best() {
	n := len(r.frames)
	total := make([]float64, n+1)
	from := make([]int, n+1)
	for j := 1; j <= n; j++ {
		total[j] = math.Inf(-1)
		for i := max(0, j-longest); i < j; i++ {
			if s := total[i] + r.scores[i][j-i-1]; s > total[j] {
				total[j], from[j] = s, i
			}
		}
	}
	r.ends = r.ends[:0]
	for j := n; j > 0; j = from[j] {
		r.ends = append(r.ends, j)
	}
	for a, b := 0, len(r.ends)-1; a < b; a, b = a+1, b-1 {
		r.ends[a], r.ends[b] = r.ends[b], r.ends[a]
	}
}

// boundaries is the forward-backward recursion: the probability, over all ways to
// cut, of a cut before each frame.
func (r *run) boundaries() {
	n := len(r.frames)
	ahead, behind := make([]float64, n+1), make([]float64, n+1)
	var terms []float64
	for j := 1; j <= n; j++ {
		terms = terms[:0]
		for i := max(0, j-longest); i < j; i++ {
			terms = append(terms, ahead[i]+r.scores[i][j-i-1])
		}
		ahead[j] = logSum(terms)
	}
	for i := n - 1; i >= 0; i-- {
		terms = terms[:0]
		for l, s := range r.scores[i] {
			terms = append(terms, s+behind[i+l+1])
		}
		behind[i] = logSum(terms)
	}
	r.cuts = make([]float64, n+1)
	for k := range r.cuts {
		r.cuts[k] = math.Exp(min(0, ahead[k]+behind[k]-ahead[n]))
	}
}

func logSum(terms []float64) float64 {
	top := math.Inf(-1)
	for _, t := range terms {
		top = max(top, t)
	}
	sum := 0.0
	for _, t := range terms {
		sum += math.Exp(t - top)
	}
	return top + math.Log(sum)
}

// confidence is the probability of the least certain boundary of frames i to j as
// one view.
func (r *run) confidence(i, j int) float64 {
	c := min(r.cuts[i], r.cuts[j])
	for k := i + 1; k < j; k++ {
		c = min(c, 1-r.cuts[k])
	}
	return max(c, 0)
}

// pattern writes exposures against the first of them in thirds of a stop.
func pattern(ev []float64) string {
	var b strings.Builder
	for _, e := range ev {
		fmt.Fprintf(&b, "%d ", int(math.Round(3*(e-ev[0]))))
	}
	return b.String()
}

// learn takes the share of each pattern among the card's brackets. One or two
// views are no habit.
func learn(runs []*run) habits {
	h := habits{pattern: map[string]float64{}}
	total := 0.0
	for _, r := range runs {
		for i, v := 0, 0; v < len(r.ends); i, v = r.ends[v], v+1 {
			j := r.ends[v]
			total++
			if j-i > 1 && known(r.ev[i:j]) {
				h.pattern[pattern(r.ev[i:j])]++
			}
		}
	}
	for p, count := range h.pattern {
		h.pattern[p] = max(0, count-2) / total
	}
	return h
}
