package main

import (
	"context"
	"math"
	"os"
	"path/filepath"

	"mullion/colour"
	"mullion/finish"
	"mullion/internal/raster"
	"mullion/quality"
	"mullion/shoot"
)

// row is one picture of one bracket with its figures; NaN where there is none.
type row struct {
	name                       string
	picture                    *raster.RGB // code values 0 to 1
	mid, flat, ghost, noise    float64
	look                       look
	clipped                    float64 // % of all pixels with a channel at 255
	fidelity, equal, structure float64 // TMQI's S, TMQI at a mean code of 116, MEF-SSIM
}

func newRow(name string) *row {
	n := math.NaN()
	return &row{name: name, mid: n, flat: n, ghost: n, noise: n, look: look{n, n, n, n, n, n, n}}
}

// rows makes and measures all pictures of a bracket.
func (b *bench) rows(ctx context.Context, s set) ([]*row, error) {
	ours := newRow("Mullion")
	scene, err := finish.Merge(ctx, s.paths, nil)
	if err != nil {
		return nil, err
	}
	radiance := scene.Upright()
	var seconds []float64
	for _, f := range scene.Merged.Frames {
		seconds = append(seconds, math.Exp2(f.RefinedEV))
	}
	pic, _, err := scene.Unbent(ctx, shoot.Decisions{})
	if err != nil {
		return nil, err
	}
	ours.picture = codes(pic)
	if s.truth != nil {
		if err := b.merged(ctx, ours, radiance, s); err != nil {
			return nil, err
		}
		if ours.noise, err = noise(ctx, s.paths, s.again); err != nil {
			return nil, err
		}
	}
	shown, err := b.exposures(s.shown, scene.Merged.Info.Orientation)
	if err != nil {
		return nil, err
	}
	out := []*row{ours}
	if m, err := quality.Mertens(ctx, shown); err != nil {
		return nil, err
	} else {
		r := newRow("Mertens et al. 2007, as published")
		r.picture = m
		raised := newRow("  the same at Mullion's brightness")
		raised.picture = toMean(m, meanGrey(ours.picture))
		out = append(out, r, raised)
	}
	if b.opencv != nil {
		more, err := b.opencvRows(ctx, s, seconds)
		if err != nil {
			return nil, err
		}
		out = append(out, more...)
	}
	return out, b.measure(ctx, out, radiance, shown, s)
}

func (b *bench) merged(ctx context.Context, r *row, radiance *raster.RGB, s set) error {
	t := s.truth
	r.mid, r.flat, _ = mergeError(radiance, t.radiance[len(t.radiance)/2])
	if s.moving {
		r.ghost = ghosts(radiance, t)
	}
	return ctx.Err()
}

func (b *bench) opencvRows(ctx context.Context, s set, seconds []float64) ([]*row, error) {
	dir, err := os.MkdirTemp(b.work, "cv-")
	if err != nil {
		return nil, err
	}
	if err := b.opencv.fuse(ctx, dir, s.shown, seconds); err != nil {
		return nil, err
	}
	var out []*row
	for _, l := range libraryRows {
		r := newRow(l.name)
		if r.picture, err = readCodes(filepath.Join(dir, l.file+".png"), 1); err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	if s.truth != nil {
		m, err := b.opencv.merged(dir)
		if err != nil {
			return nil, err
		}
		if err := b.merged(ctx, out[2], m, s); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// exposures are the display files at the size of comparison, or at the truth's.
func (b *bench) exposures(paths []string, orientation int) ([]*raster.RGB, error) {
	var out []*raster.RGB
	for _, p := range paths {
		m, err := readCodes(p, orientation)
		if err != nil {
			return nil, err
		}
		if len(out) > 0 && (m.W() != out[0].W() || m.H() != out[0].H()) {
			continue // no exposure of this view
		}
		out = append(out, m)
	}
	return out, nil
}

// measure fills in the figures of every row and lets go of its picture.
func (b *bench) measure(ctx context.Context, rows []*row, radiance *raster.RGB, shown []*raster.RGB, s set) error {
	w, h := fit(shown[0].W(), shown[0].H(), b.size)
	light := luminance(radiance, bt2020)
	light, err := raster.Shrink(ctx, light, w, h)
	if err != nil {
		return err
	}
	var greys []*raster.Plane
	for _, m := range shown {
		g, err := grey(ctx, m, w, h)
		if err != nil {
			return err
		}
		greys = append(greys, g)
	}
	for _, r := range rows {
		if b.keep != "" {
			if err := writePicture(filepath.Join(b.keep, filepath.FromSlash(s.name)), r.name, r.picture); err != nil {
				return err
			}
		}
		if s.truth != nil {
			if r.look, err = see(ctx, r.picture, s.truth); err != nil {
				return err
			}
		}
		r.clipped = clipped(r.picture)
		g, err := grey(ctx, r.picture, w, h)
		if err != nil {
			return err
		}
		if err := r.compare(ctx, light, greys, g); err != nil {
			return err
		}
		r.picture = nil
	}
	return nil
}

func (r *row) compare(ctx context.Context, light *raster.Plane, exposures []*raster.Plane, g *raster.Plane) error {
	t, err := quality.TMQI(ctx, light, g)
	if err != nil {
		return err
	}
	r.fidelity = t.Fidelity
	if t, err = quality.TMQI(ctx, light, equalised(g)); err != nil {
		return err
	}
	r.equal = t.Q
	r.structure, err = quality.MEFSSIM(ctx, exposures, g)
	return err
}

// equalised applies the power that brings the mean code to 116, where TMQI's
// naturalness is the same for all.
func equalised(g *raster.Plane) *raster.Plane {
	out := raster.New(g.W, g.H)
	power(116./255, func(k float64) float64 {
		var sum float64
		for i, v := range g.Pix {
			out.Pix[i] = float32(255 * math.Pow(max(0, float64(v))/255, k))
			sum += float64(out.Pix[i])
		}
		return sum / 255 / float64(len(g.Pix))
	})
	return out
}

// toMean applies to all channels of m, code values, the power that brings the mean of
// its grey to mean. It shows what brightness alone costs a fused picture.
func toMean(m *raster.RGB, mean float64) *raster.RGB {
	const bins = 1024
	var hist [bins + 1]float64
	for c, k := range luma {
		for _, v := range m[c].Pix {
			hist[int(bins*max(0, min(1, v))+.5)] += k / float64(len(m[c].Pix))
		}
	}
	k := power(mean, func(k float64) float64 {
		var sum float64
		for i, n := range hist {
			sum += n * math.Pow(float64(i)/bins, k)
		}
		return sum
	})
	out := raster.NewRGB(m.W(), m.H())
	for c := range m {
		for i, v := range m[c].Pix {
			out[c].Pix[i] = float32(math.Pow(max(0, float64(v)), k))
		}
	}
	return out
}

// power returns the exponent for which mean, which falls with it, comes to goal. It
// is the one mean was last called with.
func power(goal float64, mean func(k float64) float64) float64 {
	lo, hi := .1, 10.
	for {
		k := math.Sqrt(lo * hi)
		if m := mean(k); hi/lo < 1.0001 {
			return k
		} else if m > goal {
			lo = k
		} else {
			hi = k
		}
	}
}

func meanGrey(m *raster.RGB) float64 {
	var sum float64
	for c, k := range luma {
		for _, v := range m[c].Pix {
			sum += k * float64(v)
		}
	}
	return sum / float64(len(m[0].Pix))
}

// grey is the picture's grey, codes 0 to 255, at w x h.
func grey(ctx context.Context, m *raster.RGB, w, h int) (*raster.Plane, error) {
	g := luminance(m, colour.Vec3{255 * luma[0], 255 * luma[1], 255 * luma[2]})
	return raster.Shrink(ctx, g, w, h)
}

func clipped(m *raster.RGB) float64 {
	var n float64
	for i := range m[0].Pix {
		if max(m[0].Pix[i], m[1].Pix[i], m[2].Pix[i]) > 254.5/255 {
			n++
		}
	}
	return 100 * n / float64(len(m[0].Pix))
}

func fit(w, h, long int) (int, int) {
	if max(w, h) <= long {
		return w, h
	}
	f := float64(long) / float64(max(w, h))
	return int(float64(w)*f + .5), int(float64(h)*f + .5)
}
