package tone

import (
	"math"
	"testing"
)

// A room is not raised far above how the longest frame shows it, and a bracket that
// reached the room's shadows is not touched.
func TestHeldByTheLongestFrame(t *testing.T) {
	const wall = 0.01
	var heldEV float64
	code := func(longest float64) float64 {
		out, rep := render(t, flat(400, 300, wall, wall*4), Params{Longest: longest})
		heldEV = rep.HeldEV
		return float64(out[1].Row(280)[390])
	}
	free := code(0)
	for _, c := range []struct{ lift, down float64 }{
		{-3, 0}, {0, 0}, {easyLift - .01, 0}, // exposed for the room, or nearly
		{easyLift + 1, 1 - hardLift}, {easyLift + 2, 2 * (1 - hardLift)},
	} {
		full := wall / math.Exp2(wallLog) * math.Exp2(c.lift) // shows the wall c.lift darker than we would
		got := math.Log2(free / code(full))
		if math.Abs(heldEV-c.down) > .03 {
			t.Errorf("lift %.2f EV: reported %.3f EV, want %.3f", c.lift, heldEV, c.down)
		}
		if want := c.down * slope; math.Abs(got-want) > .12*want+.005 {
			t.Errorf("lift %.2f EV: %.3f EV darker, want %.3f", c.lift, got, want)
		}
	}
}

func TestHeldIsMonotonous(t *testing.T) {
	before := math.Inf(-1)
	for wall := -12.0; wall < 4; wall += .1 {
		got := held(wall, 1) // the brighter the wall, the brighter it is shown
		if shown := wall - got; shown < before-1e-12 || got < wall {
			t.Fatalf("wall %.1f: shown at %.3f, before at %.3f", wall, shown, before)
		} else {
			before = shown
		}
	}
}
