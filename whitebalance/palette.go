package whitebalance

import (
	"cmp"
	"math"
	"slices"
)

// A room has few paints, and most of what is pale in it is one white. The steps between
// surfaces tell what lies off the line of lights to a hundredth or two, but along the line,
// where light that changes looks like paint, only to a tenth, and worse for small surfaces
// in corners. So pale surfaces are drawn towards the paints that others have: those that
// meet, while the steps are solved for, and then all of one view (mean shift along the
// line). Large surfaces hardly move, and paints that the eye tells apart stay apart. Dark
// floors are left as they are: they mirror the windows, and have no one colour.

const (
	fewPaints = 0.25 // weight of two surfaces having one paint against the step between them
	ownPaint  = 0.1  // of a surface's own paint against others', in square roots of area shares
	offAlike  = alike / 2
	lumAlike  = 0.4
)

// sameness is the weight with which the two surfaces of a border are taken for one paint in
// plane k, for steps weighted by weight: none where they differ plainly or are not pale.
func sameness(all []surface, e border, k int, weight, bright float64) float64 {
	d := all[e.a].paint[k] - all[e.b].paint[k]
	pale := paleness(math.Min(all[e.a].paint[2], all[e.b].paint[2]), bright)
	return fewPaints * pale * weight / (0.03 + math.Abs(d)) * gauss(d, alike)
}

// paleness is 1 for a paint nearly as bright as the brightest, and 0 for one of less than
// half the reflectance.
func paleness(lum, bright float64) float64 { return ramp(lum-bright, -0.8, -0.3) }

// brightOf is the 85th percentile of the ln luminance of paint by area: what white surfaces
// have in any room that has some.
func brightOf(all []surface) float64 {
	order := make([]int, len(all))
	total := 0
	for i := range all {
		order[i] = i
		total += all[i].area
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(all[i].paint[2], all[j].paint[2]) })
	sum := 0
	for _, i := range order {
		if sum += all[i].area; float64(sum) >= 0.85*float64(total) {
			return all[i].paint[2]
		}
	}
	return 0
}

// drawn is a surface's paint as [gatherPaints] compares it.
type drawn struct{ along, off, lum, weight float64 }

// gatherPaints moves the paints of pale surfaces along the line of lights towards those of
// others that are alike.
func gatherPaints(all []surface) {
	if len(all) == 0 {
		return
	}
	along := lightLine(meanOf(all).chroma())
	q := make([]drawn, len(all))
	for i := range all {
		c := all[i].paint.chroma()
		q[i] = drawn{dotChroma(c, along), c[0]*along[1] - c[1]*along[0], all[i].paint[2], math.Sqrt(all[i].share)}
	}
	bright := brightOf(all)
	for i := range q {
		pale := paleness(q[i].lum, bright)
		if pale == 0 {
			continue
		}
		move := pale * (shifted(q, i) - q[i].along)
		for k := range 2 {
			all[i].paint[k] += move * along[k]
		}
	}
}

// shifted is where surface i comes to lie along the line.
func shifted(q []drawn, i int) float64 {
	a := q[i].along
	for range 12 {
		w := ownPaint + q[i].weight
		sum := w * q[i].along
		for j := range q {
			x, y, z := (a-q[j].along)/alike, (q[i].off-q[j].off)/offAlike, (q[i].lum-q[j].lum)/lumAlike
			d := x*x + y*y + z*z
			if j == i || d > 12 {
				continue
			}
			k := q[j].weight * math.Exp(-d/2)
			sum += k * q[j].along
			w += k
		}
		a = sum / w
	}
	return a
}
