package window

import (
	"math"
	"testing"
)

// The next pane of a glazed wall shows a house in shade, that runs into the wall beside it and
// is no brighter than the floor in the sun: it counts by where it stands, beside the sky's
// pane. The same picture without that, or a wall in its place, doesn't.
func TestNextPane(t *testing.T) {
	house := func(u, v float64) [3]float64 {
		k := 26 * math.Exp2(0.8*math.Sin(u*250)*math.Sin(v*180))
		if math.Mod(v, 0.08) < 0.012 {
			k /= 5
		}
		return [3]float64{0.75 * k, k, 1.3 * k}
	}
	wall := func(u, v float64) [3]float64 {
		k := 10 * (1 + 0.05*math.Sin(u*9))
		return [3]float64{0.9 * k, k, 1.1 * k}
	}
	bright := func(u, v float64) [3]float64 { return [3]float64{31, 30, 27} }
	sky := rect(0.42, 0.55, 0.2, 0.6)
	pane := rect(0.24, 0.41, 0.22, 0.58)
	lit := func(u, v float64) bool { return u < 0.24 && v < 0.9 && v > 0.1 }
	for _, c := range []struct {
		what  string
		pane  func(u, v float64) [3]float64
		sky   bool
		share float64
	}{
		{"a house beside a sky", house, true, 0.13*0.4 + 0.17*0.36},
		{"a house alone", house, false, 0},
		{"a wall beside a sky", wall, true, 0.13 * 0.4},
	} {
		img := room(900, 600)
		paint(img, lit, wall)
		paint(img, func(u, v float64) bool { s := u + v; return v > 0.7 && v < 0.95 && s > 1.1 && s < 1.7 }, bright)
		paint(img, pane, c.pane)
		if c.sky {
			paint(img, sky, func(u, v float64) [3]float64 { g := garden(u, v); return [3]float64{3 * g[0], 3 * g[1], 3 * g[2]} })
		}
		m := find(t, img)
		if s := m.Share(); math.Abs(s-c.share) > 0.02 {
			t.Errorf("%s: share %.4f, want %.4f: %+v", c.what, s, c.share, m.Regions)
		}
	}
}
