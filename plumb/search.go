package plumb

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// The search looks at every whole degree of pitch and roll a photographer may
// have held the camera at.
const (
	maxPitch = 30
	maxRoll  = 12
	loose    = 1.6 * math.Pi / 180 // how far off a line may be and still vote
)

type candidate struct {
	p, r, y float64 // degrees
	score   float64
}

// search returns a few likely poses to the degree, the best first.
func (s *solver) search(ctx context.Context) []model {
	s.project(s.start())
	const cols = 2*maxRoll + 1
	votes := make([]candidate, (2*maxPitch+1)*cols)
	near := s.nearVertical()
	_ = raster.BandsOf(ctx, len(votes), cols, func(a, b int) {
		for i := a; i < b; i++ {
			c := candidate{p: float64(i/cols - maxPitch), r: float64(i%cols - maxRoll)}
			v := model{rad(c.p), rad(c.r)}.axes()[0]
			for _, k := range near {
				c.score += s.obs[k].weight * vote(s.undrawn[k].miss(v))
			}
			votes[i] = c
		}
	})
	top := peaks(votes)
	for i := range top {
		s.horizontals(&top[i])
		// Nobody holds a camera at a large roll by chance.
		top[i].score *= math.Exp(-0.25 * (sq(rad(top[i].p)/s.prior[pitch]) + sq(rad(top[i].r)/s.prior[roll])))
	}
	slices.SortFunc(top, func(a, b candidate) int { return compare(b.score, a.score) })
	var out []model
	for _, c := range top[:min(len(top), 4)] {
		if c.score > 0.5*top[0].score {
			out = append(out, model{pitch: rad(c.p), roll: rad(c.r), yaw: rad(c.y)})
		}
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

// vote is Tukey's biweight: 1 for a line that meets the point, 0 from loose on.
func vote(miss float64) float64 {
	e := miss / loose
	if e > 1 || e < -1 {
		return 0
	}
	return (1 - e*e) * (1 - e*e)
}

// nearVertical lists the observations steep enough to be a vertical under any
// pose that is searched.
func (s *solver) nearVertical() []int {
	var list []int
	for i, r := range s.undrawn {
		if math.Abs(r.dy) > math.Abs(r.dx) {
			list = append(list, i)
		}
	}
	return list
}

// peaks returns up to eight of the best votes, each at least 3 degrees from
// better ones.
func peaks(votes []candidate) []candidate {
	slices.SortFunc(votes, func(a, b candidate) int { return compare(b.score, a.score) })
	var top []candidate
next:
	for _, c := range votes {
		if c.score <= 0 || len(top) == 8 {
			break
		}
		for _, t := range top {
			if math.Hypot(c.p-t.p, c.r-t.r) < 3 {
				continue next
			}
		}
		top = append(top, c)
	}
	return top
}

// horizontals finds the azimuth at which most other lines run along one of two
// directions square to the candidate's vertical, and adds their votes at half
// weight.
func (s *solver) horizontals(c *candidate) {
	v := model{rad(c.p), rad(c.r)}.axes()[0]
	rest := make([]int, 0, len(s.obs))
	for i := range s.obs {
		if vote(s.undrawn[i].miss(v)) == 0 {
			rest = append(rest, i)
		}
	}
	var most float64
	for y := -45.0; y < 45; y++ {
		a := model{pitch: rad(c.p), roll: rad(c.r), yaw: rad(y)}.axes()
		var sum float64
		for _, i := range rest {
			sum += s.obs[i].weight * (vote(s.undrawn[i].miss(a[1])) + vote(s.undrawn[i].miss(a[2])))
		}
		if sum > most {
			most, c.y = sum, y
		}
	}
	c.score += most / 2
}
