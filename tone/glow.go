package tone

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// What a lamp or a window throws on the wall beside it is stops brighter than the
// wall and would end in white, with the lamp's own shape and the plaster's texture.
// One curve for all can only flatten it. So brightness above the walls is drawn in as
// a whole: of the level of a place's surroundings, which stops at edges, and not of
// the place itself, so that texture keeps its contrast there. This is the base of
// Durand & Dorsey (SIGGRAPH 2002), smoothed by weighted least squares along rows and
// columns in turn (Min, Choi, Lu, Ham, Sohn & Do, IEEE Trans. Image Process. 23, 2014).
const (
	stiff  = 2000. // the smoother's lambda, for a picture of Full
	rounds = 3
	yields = 0.3 // EV: over a step of this much surroundings lose e times their say
	glass  = 200 // as many such steps parts the room from the view outside

	mostGlow = 1.5 // EV above the walls that the brightest surroundings come to
	overGlow = 0.5 // EV over its surroundings by which a place is half their texture
	underEV  = 0.25
)

// lookAround finds the level of every place's surroundings. Half the scene's size is
// enough: where an edge falls between two samples, glow goes by the place itself.
func (s *scene) lookAround(ctx context.Context) (err error) {
	half := &scene{w: max(1, s.w/2), h: max(1, s.h/2)}
	if half.log, err = raster.Shrink(ctx, s.log, half.w, half.h); err != nil {
		return err
	}
	if s.win != nil {
		if half.win, err = raster.Shrink(ctx, s.win, half.w, half.h); err != nil {
			return err
		}
	}
	defer half.release()
	if err := half.smooth(ctx, stiff*square(float64(max(s.w, s.h))/float64(Full))/4); err != nil {
		return err
	}
	s.base, err = enlarged(ctx, half.log, s.w, s.h)
	return err
}

func square(x float64) float64 { return x * x }

// smooth replaces the scene's levels by those of their surroundings.
func (s *scene) smooth(ctx context.Context, lambda float64) error {
	right, down := raster.Get(s.w, s.h), raster.Get(s.w, s.h)
	defer raster.Put(right, down)
	if err := s.links(ctx, right, down); err != nil {
		return err
	}
	lambda *= 1.5 / (math.Pow(4, rounds) - 1)
	for t := rounds - 1; t >= 0; t-- {
		l := float32(lambda * math.Pow(4, float64(t)))
		if err := alongRows(ctx, s.log, right, l); err != nil {
			return err
		}
		if err := alongColumns(ctx, s.log, down, l); err != nil {
			return err
		}
	}
	return nil
}

// enlarged is p at w x h, by straight lines between its samples.
func enlarged(ctx context.Context, p *raster.Plane, w, h int) (*raster.Plane, error) {
	out := raster.Get(w, h)
	cols, rows := newLerp(p.W, w), newLerp(p.H, h)
	return out, raster.Bands(ctx, h, func(y0, y1 int) {
		row := make([]float32, p.W)
		for y := y0; y < y1; y++ {
			rows.blend(row, p, y)
			cols.stretch(out.Row(y), row)
		}
	})
}

// links says how much each sample has to do with its neighbour to the right and with
// the one below, 0 to 1.
func (s *scene) links(ctx context.Context, right, down *raster.Plane) error {
	return raster.Bands(ctx, s.h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			a, r := s.log.Row(y), right.Row(y)
			linkRow(r[:s.w-1], a[:s.w-1], a[1:])
			r[s.w-1] = 0
			below := min(y+1, s.h-1)
			d := down.Row(y)
			linkRow(d, a, s.log.Row(below))
			if s.win != nil {
				m := s.win.Row(y)
				partRow(r[:s.w-1], m[:s.w-1], m[1:])
				partRow(d, m, s.win.Row(below))
			}
			if below == y {
				clear(d)
			}
		}
	})
}

func linkRow(dst, a, b []float32) {
	a, b = a[:len(dst)], b[:len(dst)]
	for x := range dst {
		d := a[x] - b[x]
		if d < 0 {
			d = -d
		}
		dst[x] = exp2(d * (-1.442695 / yields))
	}
}

// partRow takes away what links the room with the view outside.
func partRow(dst, a, b []float32) {
	a, b = a[:len(dst)], b[:len(dst)]
	for x := range dst {
		if d := a[x] - b[x]; d != 0 {
			dst[x] *= exp2(float32(math.Abs(float64(d))) * (-1.442695 * glass))
		}
	}
}

// alongRows solves, for every row, (1 + lambda L) f = p, where L is the Laplacian of
// the row's links, by elimination (Thomas). The result replaces p. Each step waits for
// the division of the one before, so four rows go abreast.
func alongRows(ctx context.Context, p, link *raster.Plane, lambda float32) error {
	return raster.Bands(ctx, p.H, func(y0, y1 int) {
		scratch := make([]float32, 4*p.W)
		for ; y0+4 <= y1; y0 += 4 {
			alongFour(p, link, scratch, y0, lambda)
		}
		for ; y0 < y1; y0++ {
			alongRow(p.Row(y0), link.Row(y0), scratch, lambda)
		}
	})
}

func alongRow(f, w, c []float32, lambda float32) {
	w, c = w[:len(f)], c[:len(f)]
	var e elimination
	for x, v := range f {
		c[x], f[x] = e.step(v, -lambda*w[x])
	}
	for x := len(f) - 2; x >= 0; x-- {
		f[x] -= c[x] * f[x+1]
	}
}

// elimination is one row's last step: its link, and both sides of its equation.
type elimination struct{ link, c, f float32 }

func (e *elimination) step(v, next float32) (c, f float32) {
	inv := 1 / (1 - e.link - next - e.c*e.link)
	e.c, e.f = next*inv, (v-e.f*e.link)*inv
	e.link = next
	return e.c, e.f
}

// alongFour does what alongRow does to the rows from y on.
func alongFour(p, link *raster.Plane, scratch []float32, y int, lambda float32) {
	n := p.W
	f0, f1, f2, f3 := p.Row(y)[:n], p.Row(y + 1)[:n], p.Row(y + 2)[:n], p.Row(y + 3)[:n]
	w0, w1, w2, w3 := link.Row(y)[:n], link.Row(y + 1)[:n], link.Row(y + 2)[:n], link.Row(y + 3)[:n]
	c0, c1, c2, c3 := scratch[:n], scratch[n:][:n], scratch[2*n:][:n], scratch[3*n:][:n]
	var e0, e1, e2, e3 elimination
	for x := range f0 {
		c0[x], f0[x] = e0.step(f0[x], -lambda*w0[x])
		c1[x], f1[x] = e1.step(f1[x], -lambda*w1[x])
		c2[x], f2[x] = e2.step(f2[x], -lambda*w2[x])
		c3[x], f3[x] = e3.step(f3[x], -lambda*w3[x])
	}
	l0, l1, l2, l3 := f0[n-1], f1[n-1], f2[n-1], f3[n-1]
	for x := n - 2; x >= 0; x-- {
		l0, l1, l2, l3 = f0[x]-c0[x]*l0, f1[x]-c1[x]*l1, f2[x]-c2[x]*l2, f3[x]-c3[x]*l3
		f0[x], f1[x], f2[x], f3[x] = l0, l1, l2, l3
	}
}

// alongColumns does the same for columns, many abreast.
func alongColumns(ctx context.Context, p, link *raster.Plane, lambda float32) error {
	c := raster.Get(p.W, p.H)
	defer raster.Put(c)
	return raster.BandsOf(ctx, p.W, 128, func(x0, x1 int) {
		before := make([]float32, x1-x0)
		cp, fp := make([]float32, x1-x0), make([]float32, x1-x0) // the row above; none
		for y := range p.H {
			f, w, out := p.Row(y)[x0:x1], link.Row(y)[x0:x1], c.Row(y)[x0:x1]
			w, out, cp, fp, before = w[:len(f)], out[:len(f)], cp[:len(f)], fp[:len(f)], before[:len(f)]
			for x, v := range f {
				b, next := before[x], -lambda*w[x]
				inv := 1 / (1 - b - next - cp[x]*b)
				out[x], f[x] = next*inv, (v-fp[x]*b)*inv
				before[x] = next
			}
			cp, fp = out, f
		}
		for y := p.H - 2; y >= 0; y-- {
			f, g, out := p.Row(y)[x0:x1], p.Row(y + 1)[x0:x1], c.Row(y)[x0:x1]
			g, out = g[:len(f)], out[:len(f)]
			for x := range f {
				f[x] -= out[x] * g[x]
			}
		}
	})
}

// glow is what is taken from a place of level log in surroundings of level base, both
// log2 of radiance, under the room's light: 0 or less. What stands out of its
// surroundings is no texture of theirs, but a lamp in front of them, a chair before a
// window or the bar between two panes: the more it does, the more it goes by itself.
func glow(log, base, roomEV float32) float32 {
	d := base - log
	most := float32(overGlow)
	if d > 0 {
		most = underEV
	}
	d /= 1 + (d/most)*(d/most)
	if base = log + d + roomEV; base <= 0 {
		return 0
	}
	return base/(1+base*(1/float32(mostGlow))) - base
}
