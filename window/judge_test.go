package window

import (
	"math"
	"testing"
)

// What fills one side of the picture from top to bottom is a glazed side of the room if
// it is more than 4.5 EV brighter than the rest; what is less may be a bright room seen past
// a dark jamb.
func TestPastADarkJamb(t *testing.T) {
	for _, c := range []struct {
		ev   float64 // above the room
		want float64 // share of the picture
	}{{3.2, 0}, {4.2, 0}, {4.8, 0.4}, {6, 0.4}} {
		img := room(900, 600)
		k := 1.2 * math.Exp2(c.ev) // 1.2 is the median of what is left of the room
		beyond := func(u, v float64) [3]float64 {
			l := k * math.Exp2(0.9*math.Sin(u*300)*math.Sin(v*200)) // furniture, a carpet
			return [3]float64{l, l, l}
		}
		paint(img, func(u, _ float64) bool { return u < 0.4 }, beyond)
		m := find(t, img)
		for _, r := range m.Regions {
			if math.Abs(r.Level-c.ev) > 0.1 {
				t.Errorf("%.1f EV above the room: level %.2f", c.ev, r.Level)
			}
		}
		if got := m.Share(); math.Abs(got-c.want) > 0.05 {
			t.Errorf("%.1f EV above the room: share %.3f, want %g", c.ev, got, c.want)
		}
	}
}
