package main

import (
	"context"
	"math"
	"slices"

	"mullion/colour"
	"mullion/internal/raster"
)

// look is what is measured on a finished picture against the truth.
type look struct {
	neutral float64 // mean CIEDE2000 of neutral surfaces from the grey of their own lightness
	colour  float64 // mean CIEDE2000 of all surfaces from their albedo at the picture's own lightness
	wall    float64 // median code of bright neutral surfaces, % of display white
	halo    float64 // see halo
	blown   float64 // % of the window's pixels with a channel at 255
	above   float64 // mean L* of the window over the walls' median
	detail  float64 // correlation of the window's local structure with the truth's
}

var srgbToXYZ = colour.RGBToXYZ(colour.XY{X: .64, Y: .33}, colour.XY{X: .30, Y: .60}, colour.XY{X: .15, Y: .06}, d65)

var (
	d65   = colour.XY{X: .3127, Y: .3290}
	white = d65.XYZ()
)

// see measures a picture, code values 0 to 1, of the truth's size.
func see(ctx context.Context, pic *raster.RGB, t *truth) (look, error) {
	lin := raster.NewRGB(pic.W(), pic.H())
	for c := range lin {
		colour.DecodeSRGBRow(lin[c].Pix, pic[c].Pix)
	}
	l := look{halo: math.NaN(), blown: math.NaN(), above: math.NaN(), detail: math.NaN()}
	y := luminance(lin, bt709)
	walls := t.surfaces(&l, lin)
	l.wall = 100 * colour.EncodeSRGB(median(walls))
	if t.window == nil {
		return l, nil
	}
	return l, l.seeWindow(ctx, pic, y, t, lightness(median(walls)))
}

// surfaces measures colour on every third pixel of the room and returns the
// luminance of its bright neutral surfaces.
func (t *truth) surfaces(l *look, lin *raster.RGB) []float64 {
	var walls []float64
	var neutral, all, nNeutral, nAll float64
	for i := 0; i < len(t.light.Pix); i += 3 {
		if t.window != nil && t.window.Pix[i] > .02 {
			continue
		}
		a := colour.Vec3{float64(t.albedo[0].Pix[i]), float64(t.albedo[1].Pix[i]), float64(t.albedo[2].Pix[i])}
		lo, hi := min(a[0], a[1], a[2]), max(a[0], a[1], a[2])
		p := srgbToXYZ.Apply(colour.Vec3{float64(lin[0].Pix[i]), float64(lin[1].Pix[i]), float64(lin[2].Pix[i])})
		if p[1] < 0.002 || lo < 0.01 {
			continue // too dark to have a colour
		}
		got := colour.ToLab(p, white)
		want := srgbToXYZ.Apply(a)
		k := p[1] / want[1]
		for c := range want {
			want[c] *= k
		}
		all += colour.DeltaE(got, colour.ToLab(want, white))
		nAll++
		if lo > .5 && hi-lo < .15*hi {
			neutral += colour.DeltaE(got, colour.ToLab(colour.Vec3{white[0] * p[1], p[1], white[2] * p[1]}, white))
			nNeutral++
			walls = append(walls, p[1])
		}
	}
	l.neutral, l.colour = neutral/nNeutral, all/nAll
	return walls
}

func (l *look) seeWindow(ctx context.Context, pic *raster.RGB, y *raster.Plane, t *truth, wall float64) error {
	var n, blown, sum float64
	for i, c := range t.window.Pix {
		if c < .98 {
			continue
		}
		n++
		sum += lightness(float64(y.Pix[i]))
		if max(pic[0].Pix[i], pic[1].Pix[i], pic[2].Pix[i]) > 254.5/255 {
			blown++
		}
	}
	if n < 500 {
		return nil
	}
	l.blown, l.above = 100*blown/n, sum/n-wall
	l.halo = halo(y, t)
	var err error
	l.detail, err = structure(ctx, y, t)
	return err
}

// halo is the overshoot at window frames. A picture made by one curve gives places
// of one radiance one gain; a halo is gain that depends on how near the window is.
// So the room's pixels between 2 and 12 pixels from the glass are compared with
// those between 40 and 120 in bins of radiance a quarter stop wide, and the mean
// absolute difference of the gain, in EV, is given in percent of the step in
// radiance from the room at the frame to the window, in EV.
func halo(y *raster.Plane, t *truth) float64 {
	type bin struct{ near, far []float64 }
	bins := map[int]*bin{}
	var glass, frame []float64
	scale := float32(max(y.W, y.H)) / 1800
	for i, d := range t.distance.Pix {
		e := log2(t.light.Pix[i])
		if t.window.Pix[i] > .98 {
			glass = append(glass, e)
			continue
		}
		near, far := d >= 2*scale && d < 12*scale, d >= 40*scale && d < 120*scale
		if !near && !far || y.Pix[i] < 0.002 {
			continue
		}
		k := int(math.Floor(e * 4))
		if bins[k] == nil {
			bins[k] = &bin{}
		}
		gain := log2(y.Pix[i]) - e
		if near {
			frame = append(frame, e)
			bins[k].near = append(bins[k].near, gain)
		} else {
			bins[k].far = append(bins[k].far, gain)
		}
	}
	var sum, n float64
	for _, b := range bins {
		if len(b.near) > 100 && len(b.far) > 100 {
			k := float64(len(b.near))
			sum += k * math.Abs(median(b.near)-median(b.far))
			n += k
		}
	}
	return 100 * sum / n / (median(glass) - median(frame))
}

// structure correlates what is finer than 4 pixels' blur inside the window, in
// L* of the picture and log luminance of the truth.
func structure(ctx context.Context, y *raster.Plane, t *truth) (float64, error) {
	fine := func(p *raster.Plane, f func(float32) float64) (*raster.Plane, error) {
		num, den := raster.New(p.W, p.H), raster.New(p.W, p.H)
		for i, v := range p.Pix {
			if t.window.Pix[i] > .98 {
				num.Pix[i], den.Pix[i] = float32(f(v)), 1
			}
		}
		out := num.Clone()
		if err := raster.Gauss(ctx, num, num, 4); err != nil {
			return nil, err
		}
		if err := raster.Gauss(ctx, den, den, 4); err != nil {
			return nil, err
		}
		for i := range out.Pix {
			out.Pix[i] -= num.Pix[i] / max(den.Pix[i], 1e-3)
		}
		return out, nil
	}
	a, err := fine(t.light, log2)
	if err != nil {
		return 0, err
	}
	b, err := fine(y, func(v float32) float64 { return lightness(float64(v)) })
	if err != nil {
		return 0, err
	}
	var ab, aa, bb float64
	for y := 4; y < a.H-4; y++ {
		for x := 4; x < a.W-4; x++ {
			i := y*a.W + x
			if t.window.Pix[i-4] > .98 && t.window.Pix[i+4] > .98 && t.window.Pix[i-4*a.W] > .98 && t.window.Pix[i+4*a.W] > .98 {
				u, v := float64(a.Pix[i]), float64(b.Pix[i])
				ab, aa, bb = ab+u*v, aa+u*u, bb+v*v
			}
		}
	}
	return ab / math.Sqrt(aa*bb), nil
}

func lightness(y float64) float64 {
	if y > 216./24389 {
		return 116*math.Cbrt(y) - 16
	}
	return y * 24389 / 27
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Clone(v)
	slices.Sort(s)
	return s[len(s)/2]
}
