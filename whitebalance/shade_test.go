package whitebalance

import (
	"math"
	"testing"

	"mullion/colour"
)

// Cream fronts and beige walls under a white ceiling are no white things in the shade:
// they end no further from their own colour than without that idea, and do not bleach.
func TestCreamIsNoShade(t *testing.T) {
	white := func(l colour.Lab) bool { return l.L > 75 && chromaOfLab(l) < 3 }
	for _, n := range []string{"dining", "kitchenwide"} {
		r := loadRoom(t, n, "")
		q := r.only(r.repainted(white, srgb8(240, 230, 208)).repainted(walls, srgb8(226, 212, 188)), 0, 0.25, 1, 1)
		if s, _ := q.balance(t, Prior{}); s.colour > 4.2 || s.neutral > 3 {
			t.Errorf("%s: neutral %.2f, colour %.2f", n, s.neutral, s.colour)
		}
	}
}

// Two things that meet, both off from where they are seen elsewhere by one step, lie in
// the shade; one alone does not.
func TestShades(t *testing.T) {
	warm := lightLine(chroma{0.3, -0.6}).times(-1)
	at := func(p chroma, lum float64) surface {
		return surface{area: 1000, share: 0.1, paint: logRGB{p[0], p[1], lum}, mean: logRGB{0.3 + p[0], -0.6 + p[1], lum}}
	}
	blue := chroma{-0.06, 0.03}
	all := []surface{at(chroma{}, 0), at(blue, -0.1), at(warm.times(0.15), -0.2), at(blue.plus(warm.times(0.15)), -0.3)}
	e := &Evidence{Paints: paintsOf(all)}
	for i := range e.Lights {
		e.Lights[i] = chroma{0.3, -0.6}.plus(warm.times(0.25 - 0.05*float64(i)))
	}
	tally := newTally(e)
	got := tally.shades(all, []border{{a: 0, b: 1, n: 100}, {a: 2, b: 3, n: 100}}, chroma{})
	for i, want := range []float64{0, 0, 0.15 * shadeStrength, 0.15 * shadeStrength} {
		if s := dotChroma(got[i], warm); math.Abs(s-want) > 2e-3 {
			t.Errorf("surface %d: a shade of %.3f, want %.3f", i, s, want)
		}
	}
	for i, s := range tally.shades(all, []border{{a: 0, b: 1, n: 100}, {a: 0, b: 2, n: 100}, {a: 1, b: 3, n: 100}}, chroma{}) {
		if s != (chroma{}) {
			t.Errorf("surface %d lies in a shade %v that only it shows", i, s)
		}
	}
}
