package whitebalance

import (
	"context"
	"math"

	"mullion/colour"
	"mullion/internal/raster"
)

// field is the light's chroma at reduced size.
type field struct {
	w, h  int
	plane [2]*raster.Plane
	guide [][3]float32 // the picture at this size, linear
}

// lightField spreads what the surfaces say about the light over the whole view:
// a smooth average of picture less paint, taken over wider and wider areas where
// there are no surfaces.
func (v *view) lightField(ctx context.Context, all []surface, white chroma) (field, error) {
	num := [2]*raster.Plane{raster.New(v.w, v.h), raster.New(v.w, v.h)}
	den := raster.New(v.w, v.h)
	for i, n := range v.label {
		if n < 0 {
			continue
		}
		p := all[n].paint
		den.Pix[i] = 1
		for k := range 2 {
			num[k].Pix[i] = v.c[k][i] - float32(p[k]-white[k])
		}
	}
	out := field{v.w, v.h, [2]*raster.Plane{raster.New(v.w, v.h), raster.New(v.w, v.h)}, v.small}
	filled := raster.New(v.w, v.h)
	tmp := raster.New(v.w, v.h)
	blur := func(p *raster.Plane, r int) error {
		if err := raster.Box(ctx, tmp, p, r); err != nil {
			return err
		}
		return raster.Box(ctx, p, tmp, r)
	}
	for r := max(2, v.w/64); ; r *= 3 {
		for _, p := range []*raster.Plane{num[0], num[1], den} {
			if err := blur(p, r); err != nil {
				return out, err
			}
		}
		for i, d := range den.Pix {
			share := (1 - filled.Pix[i]) * min(1, 4*d)
			if r > 2*v.w {
				share = 1 - filled.Pix[i]
			}
			if share <= 0 || d <= 1e-6 {
				continue
			}
			for k := range 2 {
				out.plane[k].Pix[i] += share * num[k].Pix[i] / d
			}
			filled.Pix[i] += share
		}
		if r > 2*v.w {
			break
		}
	}
	return out, ctx.Err()
}

// estimate turns the surfaces' verdict into lights and a field.
func (v *view) estimate(ctx context.Context, all []surface, edges []border, t *tally, prior Prior) (*Estimate, error) {
	white := t.agreed(prior.Accord)
	e := &Estimate{Confidence: t.Confidence, Strength: Strength, trust: 1, rendered: prior.Rendered, Window: v.windowLight(prior), evidence: *t.Evidence}
	f, err := v.lightField(ctx, all, white)
	if err != nil {
		return nil, err
	}
	e.field = f
	jump := v.jumpPlane(larger(t.jumps(all, white), t.shades(all, edges, white)))
	along := lightLine(t.light.plus(white))
	v.addJumps(f, jump, along)
	v.calmBright(e, along)
	main := v.twoLights(e)
	e.Kelvin, e.Duv = colour.CCT(main.xy())
	if prior.Rendered {
		e.trust = trustRendered(main, e.Confidence)
		e.field.holdNear(main)
		e.Window = v.glassLight(main, e.trust).xy()
	}
	if prior.Accord.binds() && !prior.Rendered {
		e.base = prior.Accord.Base
	}
	return e, nil
}

// addJumps adds to the light what surfaces said of its jumps. A surface speaks by its
// mean, and may hold places of another colour (a cream seat before a blue step): where a
// jump would carry a place past white to the other side it stops there, so that taking
// light out never paints what was not painted.
func (v *view) addJumps(f field, jump [2][]float32, along chroma) {
	for i := range f.plane[0].Pix {
		a := float64(jump[0][i])*along[0] + float64(jump[1][i])*along[1]
		if a == 0 {
			continue
		}
		p := v.at(i).chroma().minus(chroma{float64(f.plane[0].Pix[i]), float64(f.plane[1].Pix[i])})
		own := dotChroma(p, along)
		share := float32(math.Max(0, math.Min(1, own/a)))
		for k := range 2 {
			f.plane[k].Pix[i] += share * jump[k][i]
		}
	}
}

// calmBright moves the light at places far brighter than the room towards their
// own colour where they would else turn blue: lamps, clipped to white in the
// file, and patches of sun. What is brighter than white is not painted blue. Beside the
// glass less is enough: a sash, a reveal, a sill that is both brighter than the room and
// bluer has its light from outside, and is too small to be a surface that says so.
func (v *view) calmBright(e *Estimate, along chroma) {
	f := e.field
	near := v.besideGlass()
	for i := range f.plane[0].Pix {
		bright := float64(v.c[2][i]) - v.median
		belief := math.Max(ramp(bright, 1.2, 2.2), near[i]*ramp(bright, 0.2, 0.9))
		if belief == 0 || v.glass[i] > 0.5 {
			continue
		}
		p := v.at(i).chroma().minus(chroma{float64(f.plane[0].Pix[i]), float64(f.plane[1].Pix[i])})
		a := math.Max(0, p[0]*along[0]+p[1]*along[1])
		for k := range 2 {
			f.plane[k].Pix[i] += float32(belief * a * along[k])
		}
	}
}

// besideGlass is 1 next to the glass and falls to 0 over a thirtieth of the view's long
// side.
func (v *view) besideGlass() []float64 {
	reach := float64(max(v.w, v.h)) / 30
	d := make([]float64, v.w*v.h) // distance, in two passes over the four neighbours
	for i, g := range v.glass {
		if d[i] = 2 * reach; g > 0.5 {
			d[i] = 0
		}
	}
	for i := range d {
		if i%v.w > 0 {
			d[i] = math.Min(d[i], d[i-1]+1)
		}
		if i >= v.w {
			d[i] = math.Min(d[i], d[i-v.w]+1)
		}
	}
	for i := len(d) - 1; i >= 0; i-- {
		if i%v.w < v.w-1 {
			d[i] = math.Min(d[i], d[i+1]+1)
		}
		if i < len(d)-v.w {
			d[i] = math.Min(d[i], d[i+v.w]+1)
		}
	}
	for i := range d {
		d[i] = ramp(-d[i], -reach, -reach/2)
	}
	return d
}

// guess is the estimate for a view without surfaces: the prior's light
// everywhere.
func (v *view) guess(prior Prior) *Estimate {
	c := priorChroma(prior.XY)
	e := &Estimate{Strength: Strength, trust: 1, rendered: prior.Rendered, Window: v.windowLight(prior), base: c, field: constantField(c), evidence: Evidence{AsShot: prior.XY, Rendered: prior.Rendered}}
	e.Kelvin, e.Duv = colour.CCT(c.xy())
	return e
}

func constantField(c chroma) field {
	f := field{1, 1, [2]*raster.Plane{raster.New(1, 1), raster.New(1, 1)}, nil}
	f.plane[0].Pix[0], f.plane[1].Pix[0] = float32(c[0]), float32(c[1])
	return f
}

// twoLights finds the two ends of the field along the line of colour
// temperature, names base and second light in e, and returns the main light.
func (v *view) twoLights(e *Estimate) chroma {
	var all []lightSample
	step := max(1, v.w*v.h/4000)
	for i := 0; i < v.w*v.h; i += step {
		if v.label[i] >= 0 {
			all = append(all, lightSample{c: chroma{float64(e.field.plane[0].Pix[i]), float64(e.field.plane[1].Pix[i])}, weight: v.worth(i)})
		}
	}
	main, second, base := parted(all)
	e.base = base
	if second != (chroma{}) {
		e.SecondKelvin, e.SecondDuv = colour.CCT(second.xy())
	}
	return main
}

// windowLight is the balance for what lies beyond the glass: a daylight between
// 5000 and 8000 K, by the view's own colours but never far from 5800 K, because
// lawns, brick and sky are no whites.
func (v *view) windowLight(prior Prior) colour.XY {
	if prior.Rendered {
		return colour.D65
	}
	glass, n := v.glassMean()
	mired := 1e6 / 5800.
	if n > 0 {
		if k, _ := colour.CCT(glass.xy()); k > 0 {
			mired = (mired + math.Max(1e6/8000., math.Min(1e6/5000., 1e6/k))) / 2
		}
	}
	return colour.Daylight(1e6 / mired)
}
