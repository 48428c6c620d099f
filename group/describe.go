package group

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
)

// part is one view within its run.
type part struct {
	r    *run
	i, j int // frames i to j of the run
}

// describe turns the cuts into views with their reasons and notes.
func describe(ctx context.Context, runs []*run, book *album) ([]View, error) {
	var parts []part
	for _, r := range runs {
		for v, i := 0, 0; v < len(r.ends); i, v = r.ends[v], v+1 {
			parts = append(parts, part{r, i, r.ends[v]})
		}
	}
	usual := usualBracket(parts)
	var views []View
	var first []int
	for n, p := range parts {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		v := p.view()
		var before *part
		if n > 0 {
			before = &parts[n-1]
		}
		if why := p.whyNew(before); why != "" {
			v.Reasons = append(v.Reasons, why)
		}
		v.Reasons = append(v.Reasons, p.whyOne(v))
		if s := p.overPauses(); s != "" {
			v.Reasons = append(v.Reasons, s)
		}
		v.Notes = append(p.notes(v, usual), p.duplicate(before)...)
		views = append(views, v)
		first = append(first, p.r.index[p.i])
	}
	return inOrder(book.frames, views, first), nil
}

// view orders the frames and gives their exposures.
func (p part) view() View {
	v := View{Confidence: p.r.confidence(p.i, p.j)}
	order := make([]int, 0, p.j-p.i) // within the run
	for k := p.i; k < p.j; k++ {
		order = append(order, k)
	}
	ev := func(k int) float64 { return p.r.ev[k] }
	if !known(p.r.ev[p.i:p.j]) {
		v.Estimated = len(order) > 1
		estimated := p.estimate()
		ev = func(k int) float64 { return estimated[k-p.i] }
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if d := ev(a) - ev(b); math.Abs(d) > 1e-6 {
			return sign(d)
		}
		return 0
	})
	v.Reference = p.reference(order)
	for _, k := range order {
		v.Frames = append(v.Frames, p.r.index[k])
		v.EV = append(v.EV, ev(k)-ev(order[v.Reference]))
	}
	return v
}

func sign(d float64) int {
	if d < 0 {
		return -1
	}
	return 1
}

// reference is the position of the middle exposure: the only one without bias when
// the biases differ, otherwise the median.
func (p part) reference(order []int) int {
	zero, count, differ := 0, 0, false
	for n, k := range order {
		info := p.r.frames[k].Info
		if !info.HasBias {
			differ = false
			break
		}
		differ = differ || info.Bias != p.r.frames[order[0]].Info.Bias
		if info.Bias == 0 {
			zero = n
			count++
		}
	}
	if differ && count == 1 {
		return zero
	}
	return (len(order) - 1) / 2
}

// estimate gives exposures from the pictures: frames sorted by their mean, and the
// brightness ratio between neighbours summed.
func (p part) estimate() []float64 {
	n := p.j - p.i
	ev := make([]float64, n)
	order := make([]int, 0, n)
	for k := range n {
		if p.r.album.get(p.r.index[p.i+k]) != nil {
			order = append(order, k)
		}
	}
	mean := func(k int) float64 { return p.r.album.get(p.r.index[p.i+k]).mean }
	slices.SortStableFunc(order, func(a, b int) int { return sign(mean(a) - mean(b)) })
	for q := 1; q < len(order); q++ {
		a, b := order[q-1], order[q]
		ev[b] = ev[a] + max(0.01, p.r.album.compare(p.r.index[p.i+a], p.r.index[p.i+b]).ev)
	}
	return ev
}

// whyNew says what ended the view before.
func (p part) whyNew(before *part) string {
	if p.i == 0 {
		if p.r.why == "" {
			return ""
		}
		return "a new view: " + p.r.why
	}
	var why []string
	if gap := p.r.gap[p.i]; gap >= 8 {
		why = append(why, duration(gap)+" later")
	}
	if before != nil && before.r == p.r && known(p.r.ev[before.i:p.i+1]) {
		for k := before.i; k < p.i; k++ {
			if math.Abs(p.r.ev[k]-p.r.ev[p.i]) < sameEV {
				why = append(why, "the exposures start again")
				break
			}
		}
	}
	if p.r.content != nil && p.r.content[p.i] > 0 && before != nil && before.r == p.r {
		a, b := p.r.witnesses(p.i, max(before.i, p.i-near), min(p.j, p.i+near))
		l := p.r.album.compare(p.r.index[a], p.r.index[b])
		if l.pixels >= fewest && l.agree < even {
			why = append(why, fmt.Sprintf("another picture (edges agree to %.0f %%)", 100*max(0, l.agree)))
		}
	}
	if len(why) == 0 {
		why = append(why, "the exposures do not go on with the last bracket's")
	}
	return "a new view: " + strings.Join(why, ", and ")
}

// whyOne says what holds the view together.
func (p part) whyOne(v View) string {
	n := p.j - p.i
	if n == 1 {
		return "a single frame"
	}
	s := fmt.Sprintf("%d frames", n)
	low, high := v.EV[0], v.EV[n-1]
	step := typicalStep(v.EV)
	switch {
	case v.Estimated:
		s += fmt.Sprintf(", about %.0f EV between the darkest and the brightest by the look of the pictures", high-low)
	case evenSteps(v.EV, step):
		s += fmt.Sprintf(", %.1f EV apart (%+.1f to %+.1f)", step, low, high)
	default:
		s += fmt.Sprintf(", in uneven steps from %+.1f to %+.1f EV", low, high)
	}
	if t := p.length(); t >= 0 {
		if p.r.coarse {
			s += fmt.Sprintf(", about %s in all", duration(max(1, math.Round(t))))
		} else {
			s += ", " + duration(t) + " in all"
		}
	}
	if p.compared() {
		s += ", same picture"
	}
	return s
}

// compared reports whether pictures were looked at within the view and agreed.
func (p part) compared() bool {
	if p.r.content == nil {
		return false
	}
	yes := false
	for k := p.i + 1; k < p.j; k++ {
		if p.r.content[k] > 0 {
			a, b := p.r.witnesses(k, max(p.i, k-near), min(p.j, k+near))
			l := p.r.album.compare(p.r.index[a], p.r.index[b])
			yes = yes || l.pixels >= fewest && l.agree > even
		}
	}
	return yes
}

// length is the time in s from the first frame's start to the last one's end, or
// a negative number when it isn't known.
func (p part) length() float64 {
	a, b := p.r.frames[p.i].Info, p.r.frames[p.j-1].Info
	if a.Time.IsZero() || b.Time.IsZero() || math.IsNaN(p.r.gap[p.j-1]) {
		return -1
	}
	return b.Time.Sub(a.Time).Seconds() + b.Seconds
}

// overPauses explains why a long pause did not end the view.
func (p part) overPauses() string {
	longest := 0.0
	for k := p.i + 1; k < p.j; k++ {
		if p.r.gap[k] > longest {
			longest = p.r.gap[k]
		}
	}
	if longest < 15 {
		return ""
	}
	if p.compared() {
		return "one view in spite of a pause of " + duration(longest) + ": the picture is the same and no exposure comes twice"
	}
	return "one view in spite of a pause of " + duration(longest) + ": the exposures go on and none comes twice"
}

func duration(s float64) string {
	switch {
	case s < 10:
		return fmt.Sprintf("%.1f s", s)
	case s < 120:
		return fmt.Sprintf("%.0f s", s)
	case s < 7200:
		return fmt.Sprintf("%.0f min", s/60)
	case s < 48*3600:
		return fmt.Sprintf("%.0f h", s/3600)
	}
	return fmt.Sprintf("%.0f days", s/86400)
}

func evenSteps(sorted []float64, step float64) bool {
	for k := 1; k < len(sorted); k++ {
		if math.Abs(sorted[k]-sorted[k-1]-step) > 0.34 {
			return false
		}
	}
	return true
}
