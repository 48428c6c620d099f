package plumb

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
)

// counter is a look down on a counter: two horizontal directions, drawn within half a
// pixel, strays, and nothing upright.
func counter(r *rand.Rand, pitchDeg, rollDeg, yawDeg float64, lines int) *clutter {
	c := &clutter{r: r, cam: handheld{3000, 2000, 2100, 1500, 1000}, m: model{rad(pitchDeg), rad(rollDeg), rad(yawDeg)}}
	ax := c.m.axes()
	for i := range lines {
		c.edge(c.place(rad(60*r.Float64()-30), 1+2*r.Float64(), 1.2-0.3*r.Float64()), ax[1+i%2], 0.4+r.Float64())
	}
	for range lines / 4 {
		x, y, a, l := c.cam.w*r.Float64(), c.cam.h*r.Float64(), math.Pi*r.Float64(), 40+200*r.ExpFloat64()
		if x2, y2 := x+l*math.Cos(a), y+l*math.Sin(a); c.inside(x2, y2) {
			c.put(x, y, x2, y2, 0)
		}
	}
	return c
}

// Two horizontal directions square to each other give the level of a view without an
// upright (Caprile & Torre, IJCV 4(2), 1990), when the focal length is known; when it is
// not, they don't, and the view is left as it is.
func TestLevelWithoutUprights(t *testing.T) {
	ctx := context.Background()
	r := rand.New(rand.NewPCG(4, 226))
	var acted int
	const n = 40
	for range n {
		p, q, y := -12-20*r.Float64(), 3*r.NormFloat64(), 90*r.Float64()-45
		c := counter(r, p, q, y, 40)
		v := View{W: int(c.cam.w), H: int(c.cam.h), FocalPx: c.cam.f}
		got, err := FromSegments(ctx, c.out, v)
		if err != nil {
			t.Fatal(err)
		}
		off := c.zenithError(got)
		if got.Confidence >= Sure {
			acted++
			if off > 1 {
				t.Errorf("pitch %.1f roll %.1f yaw %.1f: off by %.2f deg with confidence %.2f; %s", p, q, y, off, got.Confidence, got.Note)
			}
		}
		v.FocalPx = 0
		if got, err = FromSegments(ctx, c.out, v); err != nil {
			t.Fatal(err)
		}
		if got.Confidence >= Sure && got.Verticals < 3 {
			t.Errorf("pitch %.1f roll %.1f yaw %.1f: sure of a level without uprights or a focal length", p, q, y)
		}
	}
	t.Logf("%d of %d levels without uprights were acted on", acted, n)
	if acted < n/2 {
		t.Errorf("only %d of %d levels were found", acted, n)
	}
}

// BenchmarkBoxes measures the search by all directions beside that by the uprights.
func BenchmarkBoxes(b *testing.B) {
	c := untidy(rand.New(rand.NewPCG(3, 3)))
	s := newSolver(c.out, View{W: int(c.cam.w), H: int(c.cam.h), FocalPx: c.cam.f})
	b.Run("uprights", func(b *testing.B) {
		for b.Loop() {
			s.search(context.Background())
		}
	})
	b.Run("all", func(b *testing.B) {
		for b.Loop() {
			s.boxes(context.Background())
		}
	})
}
