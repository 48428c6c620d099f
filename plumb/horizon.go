package plumb

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// The search by all directions of a room, in degrees: coarser than that by the
// uprights, as it has the yaw to find too.
const (
	boxStep    = 3.0
	boxUp      = 13 // to each side of level: 39 degrees of pitch
	boxAcross  = 5  // and 15 of roll
	boxTurns   = 30 // 90 degrees of yaw
	boxStarts  = 6
	boxApart   = 5.0
	boxScatter = 0.02 // radians: what the grid leaves
	boxLines   = 100  // the heaviest are enough
)

// boxes returns the likeliest poses to some degrees by the uprights and two
// horizontal directions square to each other. Two such directions fix the level
// without any upright: their vanishing points lie on the horizon (Caprile & Torre,
// IJCV 4(2), 1990). A look down on a counter has only those; and where things that
// lean together look like uprights, the room's horizontals contradict them.
func (s *solver) boxes(ctx context.Context) []model {
	s.project(s.start())
	const cols = 2*boxAcross + 1
	votes := make([]candidate, (2*boxUp+1)*cols)
	busy := make([]int, len(s.obs))
	for i := range busy {
		busy[i] = i
	}
	busy = s.heaviest(busy)
	busy = busy[:min(len(busy), boxLines)]
	_ = raster.BandsOf(ctx, len(votes), cols, func(a, b int) {
		at := newBoxVotes(s, busy)
		for i := a; i < b; i++ {
			c := candidate{p: boxStep * float64(i/cols-boxUp), r: boxStep * float64(i%cols-boxAcross)}
			m := model{pitch: rad(c.p), roll: rad(c.r)}
			c.score = s.odds(m) + at.best(m)
			votes[i] = c
		}
	})
	var out []model
	for _, c := range peaks(votes, boxStarts, boxApart) {
		out = append(out, model{pitch: rad(c.p), roll: rad(c.r)})
	}
	return out
}

// boxVotes is what each line says at one pitch and roll: its odds of being none of the
// horizontals, and those of lying along each horizontal direction of half a turn.
type boxVotes struct {
	lines []boxLine
	base  [boxLines]float64
	along [2 * boxTurns][boxLines]float64
}

// boxLine is a line with the density of its error.
type boxLine struct {
	ray
	weight float64
	bell
}

func newBoxVotes(s *solver, busy []int) *boxVotes {
	b := &boxVotes{}
	for _, i := range busy {
		o := &s.obs[i]
		b.lines = append(b.lines, boxLine{s.undrawn[i], o.weight * s.unit, newBell(sq(o.sigma) + sq(boxScatter))})
	}
	return b
}

// odds is the likelihood of the line to lie towards v, 0 when it says nothing about it.
func (l *boxLine) odds(v vec3) float64 {
	qx, qy := v.x-v.z*l.x, v.y-v.z*l.y
	n := qx*qx + qy*qy
	if n < 0.05*0.05 {
		return 0
	}
	c := l.dx*qy - l.dy*qx
	q := 1 + c*c/n*l.narrow
	return l.peak / (q * q)
}

// best returns the evidence for a pitch and roll, the yaw being the likeliest.
func (b *boxVotes) best(m model) float64 {
	down := m.axes()[0]
	for i := range b.lines {
		b.base[i] = 1 + upShare/strayShare*b.lines[i].odds(down)
	}
	for t := range b.along {
		m[yaw] = rad(boxStep * float64(t))
		v := m.axes()[2]
		for i := range b.lines {
			b.along[t][i] = alongShare / strayShare * b.lines[i].odds(v)
		}
	}
	most := math.Inf(-1)
	for t := range boxTurns {
		var sum float64
		depth, across := &b.along[t], &b.along[t+boxTurns]
		for i := range b.lines {
			sum += b.lines[i].weight * math.Log(b.base[i]+depth[i]+across[i])
		}
		most = max(most, sum)
	}
	return most
}
