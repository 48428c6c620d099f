package removal

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// Pieces copied from different places meet in seams: one is a little brighter or
// warmer than the other. So not their values are kept but their differences from pixel
// to pixel, and the light is solved for, from the edge of the hole inwards (Pérez,
// Gangnet & Blake, "Poisson image editing", SIGGRAPH 2003, in logarithms of light). A
// difference counts less where the pieces disagree about it: there a real edge is cut,
// and its step must not be spread over the wall beside it.

const (
	disagree = 0.12 // EV: between two sources, or between a source and the hole's edge
	anchor   = 1e-3 // of every pixel to its copied value
	sweeps   = 160  // of the solver, at most
	settled  = 1e-3 // EV: the largest change of a sweep that ends it
	relax    = 1.85 // over-relaxation
)

// seam is a pixel to be solved for: its place among the level's pixels, the four beside
// it, and how much each of them says. Shares add up to less than one; the rest is said
// by what is fixed.
type seam struct {
	at    int32
	next  [4]int32 // among the pixels solved for; its own number where there is none
	share [4]float32
	fixed [3]float32 // the part of its light that does not change
}

// even returns the logarithms of light of the filled pixels inside the hole, and for
// each of the level's pixels which of them it is, -1 for none.
func (l *level) even(ctx context.Context, origins []origin, inside func(at int) bool) (light [][3]float32, index []int32, err error) {
	index = make([]int32, len(origins))
	var seams []seam
	for at := range origins {
		index[at] = -1
		if origins[at].from >= 0 && l.state[at] == hole && inside(at) {
			index[at] = int32(len(seams))
			seams = append(seams, seam{at: int32(at)})
		}
	}
	light = make([][3]float32, len(seams))
	if err := raster.BandsOf(ctx, len(seams), chunk, func(a, b int) {
		for i := a; i < b; i++ {
			light[i] = l.sew(int32(i), &seams[i], origins, index)
		}
	}); err != nil {
		return light, index, err
	}
	solve(ctx, seams, light)
	return light, index, ctx.Err()
}

// sew works out what a pixel's neighbours ask of it, and returns its copied value.
func (l *level) sew(i int32, s *seam, origins []origin, index []int32) (start [3]float32) {
	at := int(s.at)
	from, gain := int(origins[at].from), origins[at].gain
	for c := range start {
		start[c] = l.pix[from*chans+c] + gain
		s.fixed[c] = anchor * start[c]
	}
	sum := float32(anchor)
	x, y := at%l.w, at/l.w
	for k, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
		s.next[k] = i
		if x+d[0] < 0 || x+d[0] >= l.w || y+d[1] < 0 || y+d[1] >= l.h {
			continue
		}
		step := d[1]*l.w + d[0]
		q := at + step
		mine, ok := l.difference(from, step)
		switch {
		case index[q] >= 0:
			yours, ok2 := l.difference(int(origins[q].from), -step)
			for c := range yours {
				yours[c] = -yours[c]
			}
			if !ok && !ok2 {
				continue
			}
			if !ok {
				mine = yours
			} else if !ok2 {
				yours = mine
			}
			w := agreement(mine, yours)
			s.next[k], s.share[k] = index[q], w
			sum += w
			for c := range start {
				s.fixed[c] += w * (mine[c] + yours[c]) / 2
			}
		case l.state[q] == known && ok:
			var there, expected [3]float32
			for c := range there {
				there[c] = l.pix[q*chans+c]
				expected[c] = l.pix[(from+step)*chans+c] + gain
			}
			w := agreement(there, expected)
			sum += w
			for c := range there {
				s.fixed[c] += w * (there[c] + mine[c])
			}
		}
	}
	for k := range s.share {
		s.share[k] /= sum
	}
	for c := range s.fixed {
		s.fixed[c] /= sum
	}
	return start
}

// difference is a known pixel less its neighbour, if that is known too.
func (l *level) difference(at, step int) (d [3]float32, ok bool) {
	q := at + step
	if q < 0 || q >= len(l.state) || l.state[q] != known {
		return d, false
	}
	for c := range d {
		d[c] = l.pix[at*chans+c] - l.pix[q*chans+c]
	}
	return d, true
}

func agreement(a, b [3]float32) float32 {
	var sum float64
	for c := range a {
		d := float64(a[c] - b[c])
		sum += d * d
	}
	return float32(math.Exp(-sum/(3*disagree*disagree))) + 1e-4
}

// solve relaxes the pixels in their order, forwards and backwards, each colour until it
// is settled. A pixel waits for the one before it, so three colours at once take hardly
// longer than one.
func solve(ctx context.Context, seams []seam, value [][3]float32) {
	rate := [3]float32{relax, relax, relax}
	for sweep := range sweeps {
		if ctx.Err() != nil {
			return
		}
		var most [3]float32
		if sweep%2 == 0 {
			for i := range seams {
				relaxPixel(&seams[i], 0, value, i, &rate, &most)
			}
		} else {
			for i := len(seams) - 1; i >= 0; i-- {
				relaxPixel(&seams[i], 1, value, i, &rate, &most)
			}
		}
		for c := range rate {
			if most[c] < settled {
				rate[c] = 0
			}
		}
		if rate == [3]float32{} {
			return
		}
	}
}

// relaxPixel relaxes one pixel; last is which of the four beside it changed last, the
// one on the left or on the right. It is added last, when it is there.
func relaxPixel(s *seam, last int, value [][3]float32, i int, rate, most *[3]float32) {
	a, b, c, d := &value[s.next[2]], &value[s.next[3]], &value[s.next[1-last]], &value[s.next[last]]
	ka, kb, kc, kd := s.share[2], s.share[3], s.share[1-last], s.share[last]
	v := &value[i]
	for j := range v {
		change := rate[j] * (s.fixed[j] + ka*a[j] + kb*b[j] + kc*c[j] + kd*d[j] - v[j])
		v[j] += change
		most[j] = max(most[j], change, -change)
	}
}
