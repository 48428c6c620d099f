package check

import (
	"context"
	"math"
	"slices"

	"mullion/finding"
	"mullion/internal/raster"
)

// Dust on the sensor's glass is a soft, slightly darker spot at the same photosites of
// every frame. One view can't tell it from a stain on the wall; several can. Each view
// says for every place whether it is darker than its surroundings, and how sure that
// is: sure on a plain wall, not at all on a bookshelf.
//
// Package removal/dust finds spots too, to mend them, and measures their profile at
// half the sensor's size. A warning that sends somebody to clean a sensor needs less
// and must be surer: this one works on the merged, reduced view that the check has
// anyway, where it found as many of the planted specks and nothing on the clean house.

// specks is one view's map of places darker than around them.
type specks struct {
	w, h int
	dark []int8   // log2 against the surroundings in 1/400
	sure []uint8  // 1 over its standard deviation, held to 0..250
	hit  []uint64 // bits: clearly darker here
}

const (
	speckUnit = 400
	// Dust a millimetre or two over the sensor throws a shadow of that over the
	// f-number: a quarter to a half of a hundredth of the long edge at f/8. Standard
	// deviations of what is compared, as shares of the long edge.
	speckSmall = .0014
	speckWide  = .0067
	speckFloor = .006 // log2: what a plain wall varies by
)

func (v *seen) specks(ctx context.Context) (*specks, error) {
	w, h := v.level.W, v.level.H
	long := float64(max(w, h))
	fine, wide, dev := raster.Get(w, h), raster.Get(w, h), raster.Get(w, h)
	defer raster.Put(fine, wide, dev)
	if err := raster.Gauss(ctx, fine, v.level, speckSmall*long); err != nil {
		return nil, err
	}
	if err := raster.Gauss(ctx, wide, v.level, speckWide*long); err != nil {
		return nil, err
	}
	for i, f := range fine.Pix {
		d := f - wide.Pix[i]
		fine.Pix[i], wide.Pix[i] = d, d*d
	}
	// The scatter around a place, without the place itself.
	inner, outer := max(2, int(.0067*long)), max(4, int(.0133*long))
	if err := raster.Box(ctx, dev, wide, outer); err != nil {
		return nil, err
	}
	near := raster.Get(w, h)
	defer raster.Put(near)
	if err := raster.Box(ctx, near, wide, inner); err != nil {
		return nil, err
	}
	no, ni := float32((2*outer+1)*(2*outer+1)), float32((2*inner+1)*(2*inner+1))
	s := &specks{w: w, h: h, dark: make([]int8, w*h), sure: make([]uint8, w*h), hit: make([]uint64, (w*h+63)/64)}
	for i, d := range fine.Pix {
		ring := (dev.Pix[i]*no - near.Pix[i]*ni) / (no - ni)
		sd := math.Sqrt(math.Max(0, float64(ring)) + speckFloor*speckFloor)
		s.dark[i] = int8(max(-127, min(127, d*speckUnit)))
		s.sure[i] = uint8(math.Min(250, 1/sd))
		if float64(d) < -2.5*sd && sd < .04 {
			s.hit[i/64] |= 1 << (i % 64)
		}
	}
	return s, nil
}

func (s *specks) at(i int) bool { return s.hit[i/64]>>(i%64)&1 == 1 }

// spot is a speck that several views show.
type spot struct {
	at    box // in shares of the stored picture
	depth float64
	seen  []int // views in which it stands out
	index int
}

// dust finds spots that the views have in common. A composition that was taken twice
// counts once: what is real stands at the same place in both.
func dust(views []*View) []spot {
	byForm := map[[2]int][]*View{}
	for i, v := range views {
		again := slices.ContainsFunc(views[:i], func(w *View) bool { return alike(&v.trace, &w.trace) >= sameScene })
		if s := v.trace.dust; s != nil && !again {
			k := [2]int{s.w, s.h}
			byForm[k] = append(byForm[k], v)
		}
	}
	var out []spot
	for form, list := range byForm {
		if len(list) >= dustViews {
			out = append(out, dustOf(list, form[0], form[1])...)
		}
	}
	return out
}

func dustOf(list []*View, w, h int) []spot {
	mask := make([]bool, w*h)
	depth := make([]float32, w*h)
	for i := range mask {
		sum, weight, hits, smooth := 0., 0., 0, 0
		for _, v := range list {
			s := v.trace.dust
			if s.sure[i] > 25 {
				smooth++
			}
			if s.at(i) {
				hits++
			}
			k := float64(s.sure[i])
			sum += k * k * float64(s.dark[i]) / speckUnit
			weight += k * k
		}
		mean := sum / math.Max(weight, 1)
		if hits < dustViews || hits*10 < smooth*6 || mean > -dustDepth*1.44 || mean*math.Sqrt(weight) > -dustSigma {
			continue
		}
		mask[i], depth[i] = true, float32(mean)
	}
	var out []spot
	for _, p := range patches(grown(mask, w, 2), w) {
		worst := p.pix[0]
		for _, i := range p.pix {
			if depth[i] < depth[worst] {
				worst = i
			}
		}
		s := spot{at: seenAt(1, w, h, p.x0, p.y0, p.x1, p.y1), depth: 1 - math.Exp2(float64(depth[worst])), index: int(worst)}
		for k, v := range list {
			if v.trace.dust.at(int(worst)) {
				s.seen = append(s.seen, k)
				v.picture.spot(s.at)
			}
		}
		out = append(out, s)
	}
	return out
}

// judgeDust says it once for the card and once for every view that shows it.
func (r *Report) judgeDust(views []*View) {
	spots := dust(views)
	if len(spots) == 0 {
		return
	}
	deepest, in := 0., map[*View]int{}
	for _, s := range spots {
		deepest = math.Max(deepest, s.depth)
		for _, v := range views {
			if d := v.trace.dust; d != nil && s.index < d.w*d.h && d.at(s.index) {
				in[v]++
			}
		}
	}
	r.Findings = append(r.Findings, finding.Finding{Code: "dust", Severity: finding.Look, Value: float64(len(spots)), Unit: "spots",
		Message: plural(len(spots), "There is %s of dust on the sensor or a smear on the lens", "There are %s of dust on the sensor or smears on the lens") +
			", at the same place in several views, taking up to " + percent(deepest) + " of the light. Blow the sensor clean now; the pictures taken so far need retouching."})
	for v, n := range in {
		v.say("dust", finding.Look, float64(n), "spots", "%s the same place as in other views. Check plain walls and the ceiling.",
			plural(n, "Dust shows as %s at", "Dust shows as %s, at"))
	}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return sprintf(one, "1 spot")
	}
	return sprintf(many, count(n, "spot"))
}
