package tone

import (
	"math"
	"testing"

	"mullion/internal/raster"
)

// lookedAt is a scene of the given log2 luminance without windows.
func lookedAt(t testing.TB, log *raster.Plane) *scene {
	t.Helper()
	s := &scene{w: log.W, h: log.H, log: log}
	if err := s.lookAround(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s
}

// Surroundings are the mean of texture, and end where a step of two stops does.
func TestSurroundings(t *testing.T) {
	const w, h = 640, 400
	log := raster.New(w, h)
	for y := range h {
		for x := range w {
			v := float32(-3)
			if x >= w/2 {
				v = -1
			}
			log.Row(y)[x] = v + .1*float32((x+y)%2*2-1)
		}
	}
	base := lookedAt(t, log).base
	for _, c := range []struct {
		x    int
		want float64
	}{{40, -3}, {w/2 - 4, -3}, {w/2 + 3, -1}, {w - 40, -1}} {
		if got := float64(base.Row(h / 2)[c.x]); math.Abs(got-c.want) > .07 {
			t.Errorf("surroundings at %d: %.3f, want %.3f", c.x, got, c.want)
		}
	}
}

// The eliminations solve what they say: (1 + lambda L) f = p, for rows as for columns.
func TestEliminations(t *testing.T) {
	const n, lambda = 9, 3.5
	p, link := raster.New(n, n), raster.New(n, n)
	for i := range p.Pix {
		p.Pix[i] = float32(math.Sin(float64(i * i)))
		if i%n != n-1 && i/n != n-1 {
			link.Pix[i] = float32(.5 + .5*math.Cos(float64(3*i)))
		}
	}
	rows, columns := p.Clone(), p.Clone()
	if err := alongRows(t.Context(), rows, link, lambda); err != nil {
		t.Fatal(err)
	}
	if err := alongColumns(t.Context(), columns, link, lambda); err != nil {
		t.Fatal(err)
	}
	check := func(name string, f *raster.Plane, step int, before, after func(i int) bool) {
		for i, v := range f.Pix {
			got := float64(v)
			if before(i) {
				got += lambda * float64(link.Pix[i-step]*(v-f.Pix[i-step]))
			}
			if after(i) {
				got += lambda * float64(link.Pix[i]*(v-f.Pix[i+step]))
			}
			if math.Abs(got-float64(p.Pix[i])) > 1e-5 {
				t.Fatalf("%s, sample %d: %g, want %g", name, i, got, p.Pix[i])
			}
		}
	}
	check("rows", rows, 1, func(i int) bool { return i%n > 0 }, func(i int) bool { return i%n < n-1 })
	check("columns", columns, n, func(i int) bool { return i/n > 0 }, func(i int) bool { return i/n < n-1 })
}

// Brighter surroundings stay brighter, none come to more than mostGlow above the
// walls, and the walls and all below them stay as they are.
func TestGlow(t *testing.T) {
	before := float32(math.Inf(-1))
	for x := float32(-6); x < 12; x += .05 {
		got := x + glow(x, x, 0)
		if got <= before || got > mostGlow || x <= 0 && got != x {
			t.Fatalf("%.2f EV above the wall is shown at %.3f, what is a little darker at %.3f", x, got, before)
		}
		before = got
	}
}

// A lamp's glow on plaster: the plaster's texture is to be seen where the curve alone
// leaves next to none, and a lamp before it is no darker than the wall.
func TestPlasterBesideALamp(t *testing.T) {
	const w, h = 640, 480
	img := raster.NewRGB(w, h)
	for y := range h {
		for x := range w {
			r := math.Hypot(float64(x-w/2), float64(y-h/2))
			ev := -6 + 5*math.Exp(-r*r/(2*150*150)) + .1*float64((x/4+y/4)%2)
			if r < 20 {
				ev = 2
			}
			for c := range img {
				img[c].Row(y)[x] = float32(math.Exp2(ev))
			}
		}
	}
	out, _ := render(t, img, Params{})
	code := func(x, y int) float64 { return 255 * encode(float64(out[1].Row(y)[x])) }
	var contrast float64
	for x := w/2 + 40; x < w/2+80; x += 4 {
		contrast += math.Abs(code(x+1, h/2+1)-code(x+5, h/2+1)) / 10
	}
	if contrast < 2.5 { // .1 EV is 8 codes on a wall in the middle of the range
		t.Errorf("texture of .1 EV beside the lamp has %.1f codes", contrast)
	}
	if lamp, wall := code(w/2, h/2), code(w/2+40, h/2); lamp < wall {
		t.Errorf("the lamp is shown at %.0f, the wall beside it at %.0f", lamp, wall)
	}
}

// Texture keeps its contrast in a glow; what stands out of its surroundings, darker or
// brighter, is shown as it is among its like; and between the two nothing is turned
// over: what is brighter than another place in the same glow is shown so.
func TestGlowOfWhatStandsOut(t *testing.T) {
	for base := float32(.5); base < 4; base += .25 {
		shown := func(log float32) float32 { return log + glow(log, base, 0) }
		own := func(log float32) float32 { return log + glow(log, log, 0) }
		if got, plain := shown(base+.05)-shown(base-.05), own(base+.05)-own(base-.05); got < .8*.1 {
			t.Errorf("texture of .1 EV in a glow of %.2f has %.3f, without surroundings %.3f", base, got, plain)
		}
		for _, log := range []float32{base - 2, base + 3} {
			if d := math.Abs(float64(shown(log) - own(log))); d > .1 {
				t.Errorf("%.2f EV in a glow of %.2f is shown %.3f EV off its like", log, base, d)
			}
		}
		last := float32(math.Inf(-1))
		for log := base - 3; log < base+5; log += .01 {
			if got := shown(log); got < last-.002 {
				t.Fatalf("%.2f EV in a glow of %.2f is shown %.4f darker than what is a little darker", log, base, last-got)
			} else {
				last = got
			}
		}
	}
}

func encode(y float64) float64 { return 1.055*math.Pow(y, 1/2.4) - .055 }

func BenchmarkSurroundings(b *testing.B) {
	log := raster.New(1280, 853)
	for i := range log.Pix {
		log.Pix[i] = float32(math.Sin(float64(i) / 50))
	}
	b.SetBytes(int64(4 * len(log.Pix)))
	for b.Loop() {
		raster.Put(lookedAt(b, log).base)
	}
}
