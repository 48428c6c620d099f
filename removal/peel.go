package removal

import (
	"context"

	"mullion/internal/raster"
)

// peel fills the hole of the coarsest level from its edge inwards, ring by ring: a
// patch is compared where it is known or filled already, with every source there is
// (Criminisi, Pérez & Toyama, IEEE TIP 13, 2004, whose filling order this simplifies:
// at this size a ring is a pixel or two of the hole). Later turns revise all of it.
func (l *level) peel(ctx context.Context, seed uint64) error {
	if !l.scatter(seed) {
		return ErrNoSource
	}
	var sources []int32
	for i, ok := range l.source {
		if ok {
			sources = append(sources, int32(i))
		}
	}
	depth := l.depths()
	done := make([]bool, len(l.list))
	// A hole beside a void never comes to an end of its own; its deepest pixel is known.
	for ring := float32(0); ring < l.deepest()+reach; ring++ {
		var due []int
		for i, at := range l.list {
			if !done[i] && depth[at] <= ring {
				due = append(due, i)
				done[i] = true
			}
		}
		if len(due) == 0 {
			continue
		}
		step := max(1, len(due)*len(sources)/mostTrials)
		if err := raster.BandsOf(ctx, len(due), 16, func(a, b int) {
			for _, i := range due[a:b] {
				at := int(l.list[i])
				m := match{at: l.field[i].at, cost: 1e30}
				for k := i % step; k < len(sources); k += step {
					l.try(at, int(sources[k]), &m)
				}
				l.field[i] = m
			}
		}); err != nil {
			return err
		}
		l.layRing(depth, done, ring)
	}
	return nil
}

// mostTrials bounds the comparisons of one ring.
const mostTrials = 4_000_000

// layRing fills the pixels of a ring with the means of what the finished patches say
// and trusts them from now on.
func (l *level) layRing(depth []float32, done []bool, ring float32) {
	ballots := l.ballots()
	for i := range ballots {
		if !done[i] {
			ballots[i] = 0
		}
	}
	for y := range l.h {
		for x := range l.w {
			if at := y*l.w + x; l.state[at] == hole && depth[at] > ring-1 && depth[at] <= ring {
				l.votePixel(ballots, x, y)
			}
		}
	}
	for at, s := range l.state {
		if s == hole && depth[at] <= ring && l.weight[at] == 0 {
			l.weight[at] = 0.7
		}
	}
}
