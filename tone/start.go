package tone

import (
	"context"

	"mullion/internal/raster"
)

const (
	windowAbove = 8.0 // mean L* of the view above the wall's (common practice, no source: 5 to 15)
	blankAbove  = 9.0 // more where nothing was recorded: a white window, not a grey one
)

// windowStart returns the EV to add to the room's light in the windows, such that
// what is seen through them is on average a little brighter than the walls. The
// curve alone gives a first answer; what texture and glare add to it is found by
// rendering the view small. The answer for the same anchors is kept.
func (v *View) windowStart(ctx context.Context, c toneCurve, a Anchors) (float64, error) {
	if v.coarse == nil {
		return 0, nil
	}
	v.start.Lock()
	defer v.start.Unlock()
	if v.start.of == a {
		return v.start.ev, nil
	}
	goal := lightness(c.at(0)) + windowAbove + blankAbove*a.Clipped
	ev := v.scene.startByCurve(c, -a.Wall, goal)
	for range 3 {
		got, err := v.coarse.tried(ctx, c, -a.Wall, ev)
		if err != nil {
			return 0, err
		}
		ev += max(-0.6, min(0.6, (goal-got)/perEV))
	}
	v.start.of, v.start.ev = a, ev
	return ev, nil
}

// perEV is about how much L* one EV makes in a window, a little too much, so that the
// trials come near without running past.
const perEV = 16

// startByCurve finds the windows' EV by bisection over the view's histogram.
func (s *scene) startByCurve(c toneCurve, roomEV, goal float64) float64 {
	var sum float64
	for _, n := range s.hist {
		sum += n
	}
	if sum == 0 {
		return 0
	}
	lo, hi := -16.0, 0.0
	for range 24 {
		ev := (lo + hi) / 2
		var mean float64
		for k, n := range s.hist {
			if n > 0 {
				l := (float64(k)+0.5)/histSteps + histFrom
				mean += n * lightness(c.at(s.mean+(1-evenBright)*(l-s.mean)+roomEV+ev))
			}
		}
		if mean/sum > goal {
			hi = ev
		} else {
			lo = ev
		}
	}
	return (lo + hi) / 2
}

// tried is the mean L* of the view outside under the two lights. Windows too small to be
// seen at this size are taken to be right.
func (s *scene) tried(ctx context.Context, c toneCurve, roomEV, windowEV float64) (float64, error) {
	lit, err := s.expose(ctx, roomEV, windowEV)
	if err != nil {
		return 0, err
	}
	defer raster.Put(lit)
	out, err := localTone(ctx, lit, c, s.octave)
	if err != nil {
		return 0, err
	}
	defer raster.Put(out)
	var sum, n float64
	for i, m := range s.win.Pix {
		if m > 0.7 {
			sum += float64(m) * lightness(float64(min(0, out.Pix[i])))
			n += float64(m)
		}
	}
	if n == 0 {
		return lightness(c.at(0)) + windowAbove, nil
	}
	return sum / n, nil
}
