package plumb

import (
	"math"
	"math/rand/v2"
	"testing"

	"mullion/lines"
)

// Four pieces of one edge give its direction far better than the best of them, and
// their standard error says by how much.
func TestJoinPieces(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	var sum, own, told float64
	const n = 300
	for range n {
		a := math.Pi * r.Float64()
		dx, dy := math.Cos(a), math.Sin(a)
		var segs []lines.Segment
		for i := range 4 {
			t1, t2 := float64(55*i), float64(55*i+30)
			e := func() float64 { return 0.5 * max(-2, min(2, r.NormFloat64())) }
			e1, e2 := e(), e()
			segs = append(segs, lines.Segment{X1: t1*dx - e1*dy, Y1: t1*dy + e1*dx, X2: t2*dx - e2*dy, Y2: t2*dy + e2*dx})
		}
		out := join(segs, 2)
		if len(out) != 1 {
			t.Fatalf("%d lines of one edge", len(out))
		}
		slope := func(s lines.Segment) float64 {
			return math.Sin(math.Atan2(s.Y2-s.Y1, s.X2-s.X1) - a)
		}
		sum, own, told = sum+sq(slope(out[0])), own+sq(slope(segs[0])), told+sq(out[0].Sigma)
		if l := out[0].Length(); math.Abs(l-195) > 3 {
			t.Errorf("the edge is 195 long, not %.1f", l)
		}
	}
	joined, piece, said := math.Sqrt(sum/n), math.Sqrt(own/n), math.Sqrt(told/n)
	t.Logf("direction off by %.5f rad, a piece by %.5f, said %.5f", joined, piece, said)
	if joined > piece/6 || said < 0.7*joined || said > 1.6*joined {
		t.Errorf("direction off by %.5f rad, a piece by %.5f, said %.5f", joined, piece, said)
	}
}

// What is not one line stays apart: the two sides of a moulding, edges of opposite
// contrast, and pieces with more gap than line.
func TestJoinKeepsApart(t *testing.T) {
	up := func(x, y1, y2 float64) lines.Segment { return lines.Segment{X1: x, Y1: y1, X2: x, Y2: y2} }
	for name, segs := range map[string][]lines.Segment{
		"beside each other":   {up(100, 0, 50), up(103, 60, 120)},
		"overlapping":         {up(100, 0, 80), up(100.5, 10, 70)},
		"opposite contrast":   {up(100, 0, 50), up(100, 120, 60)},
		"far from each other": {up(100, 0, 50), up(100, 130, 180)},
		"at an angle":         {up(100, 0, 50), {X1: 100, Y1: 55, X2: 106, Y2: 105}},
	} {
		if out := join(segs, 1.2); len(out) != 2 {
			t.Errorf("%s: joined to %+v", name, out)
		}
	}
	if out := join(nil, 1); len(out) != 0 {
		t.Errorf("%d lines of none", len(out))
	}
}
