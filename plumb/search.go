package plumb

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// The search covers any pose a camera is held at on purpose, in degrees.
const (
	gridStep = 1.5
	up       = 27 // to each side of level: 40 degrees of pitch
	across   = 15 // and 22 of roll
	starts   = 10 // poses that are followed up
	apart    = 2.5
)

type candidate struct {
	p, r  float64 // degrees
	score float64
}

// search returns the likeliest poses to a degree or so, by the uprights alone,
// the best first.
func (s *solver) search(ctx context.Context) []model {
	s.project(s.start())
	const cols = 2*across + 1
	votes := make([]candidate, (2*up+1)*cols)
	steep := s.heaviest(s.steep())
	bells := make([]bell, len(steep))
	for i, k := range steep {
		bells[i] = newBell(sq(s.obs[k].sigma) + sq(coarse))
	}
	_ = raster.BandsOf(ctx, len(votes), cols, func(a, b int) {
		for i := a; i < b; i++ {
			c := candidate{p: gridStep * float64(i/cols-up), r: gridStep * float64(i%cols-across)}
			m := model{pitch: rad(c.p), roll: rad(c.r)}
			v := m.axes()[0]
			c.score = s.odds(m)
			for j, k := range steep {
				c.score += s.obs[k].weight * s.unit * math.Log(1+upShare/strayShare*bells[j].at(s.undrawn[k].miss(v)))
			}
			votes[i] = c
		}
	})
	var out []model
	for _, c := range peaks(votes, starts, apart) {
		out = append(out, model{pitch: rad(c.p), roll: rad(c.r)})
	}
	return out
}

func sq(x float64) float64 { return x * x }

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// steep lists the observations steep enough to be a vertical under any pose that
// is searched.
func (s *solver) steep() []int {
	var list []int
	for i, r := range s.undrawn {
		if math.Abs(r.dy) > 0.8*math.Abs(r.dx) {
			list = append(list, i)
		}
	}
	return list
}

// peaks returns the n best votes, each the given number of degrees from better ones.
func peaks(votes []candidate, n int, degrees float64) []candidate {
	slices.SortFunc(votes, func(a, b candidate) int { return compare(b.score, a.score) })
	var top []candidate
next:
	for _, c := range votes {
		if len(top) == n {
			break
		}
		for _, t := range top {
			if math.Hypot(c.p-t.p, c.r-t.r) < degrees {
				continue next
			}
		}
		top = append(top, c)
	}
	return top
}
