package main

import (
	"context"
	"math"
	"slices"

	"mullion/bracket"
	"mullion/colour"
	"mullion/internal/raster"
	"mullion/quality"
	"mullion/rawfile"
)

// mergeError compares merged radiance with the truth: RMS of log2 luminance in the
// middle 80 % of the truth, and there on flat parts (less than 0.06 EV within three
// pixels). One matrix for the whole picture takes out what primaries and exposure
// leave open. errs is the error of every pixel.
func mergeError(got, want *raster.RGB) (mid, flat float64, errs *raster.Plane) {
	y := luminance(want, bt2020)
	lo, hi := quantileOf(y, .1), quantileOf(y, .9)
	fit := quality.ColourFit(got, want, y, lo, hi)
	errs = raster.New(y.W, y.H)
	var a, b rms
	for i, l := range y.Pix {
		p := fit.Apply(colour.Vec3{float64(got[0].Pix[i]), float64(got[1].Pix[i]), float64(got[2].Pix[i])})
		e := math.Log2(max(1e-9, bt2020[0]*p[0]+bt2020[1]*p[1]+bt2020[2]*p[2]) / float64(l))
		errs.Pix[i] = float32(e)
		if l < lo || l > hi {
			continue
		}
		a.add(e)
		if i%5 == 0 && around(y, i%y.W, i/y.W) < .06 {
			b.add(e)
		}
	}
	return a.root(), b.root(), errs
}

// around is the range within 3 pixels, EV.
func around(y *raster.Plane, px, py int) float64 {
	lo, hi := y.At(px, py), y.At(px, py)
	for v := max(0, py-3); v <= min(y.H-1, py+3); v++ {
		for _, l := range y.Row(v)[max(0, px-3):min(y.W, px+4)] {
			lo, hi = min(lo, l), max(hi, l)
		}
	}
	return math.Log2(float64(hi / lo))
}

// ghosts is the RMS error where the frames' truths differ, each 32 x 32 block
// against the frame it fits best, over that where they agree. 1 is as good as still.
func ghosts(got *raster.RGB, t *truth) float64 {
	var errs, light []*raster.Plane
	for _, m := range t.radiance {
		_, _, e := mergeError(got, m)
		errs, light = append(errs, e), append(light, luminance(m, bt2020))
	}
	const size = 32
	var moving, still rms
	w, h := got.W(), got.H()
	for y := 0; y+size <= h; y += size {
		for x := 0; x+size <= w; x += size {
			sums := make([]float64, len(errs))
			differ := 0
			for v := y; v < y+size; v++ {
				for u := x; u < x+size; u++ {
					lo, hi := light[0].At(u, v), light[0].At(u, v)
					for i := range errs {
						sums[i] += sq(float64(errs[i].At(u, v)))
						lo, hi = min(lo, light[i].At(u, v)), max(hi, light[i].At(u, v))
					}
					if hi > 1.11*lo { // 0.15 EV
						differ++
					}
				}
			}
			switch best := slices.Min(sums); {
			case differ > size*size/10:
				moving.sum, moving.n = moving.sum+best, moving.n+size*size
			case differ == 0:
				still.sum, still.n = still.sum+best, still.n+size*size
			}
		}
	}
	return moving.root() / still.root()
}

// noise merges two takings of one bracket, which differ in noise alone, and
// returns the worst ratio of measured to predicted deviation over the tenths of
// the brightness.
func noise(ctx context.Context, one, two []string) (float64, error) {
	var m [2]*bracket.Radiance
	for k, paths := range [][]string{one, two} {
		var frames []*rawfile.Frame
		for _, p := range paths {
			f, err := rawfile.Decode(ctx, p)
			if err != nil {
				return 0, err
			}
			defer f.Release()
			frames = append(frames, f)
		}
		var err error
		if m[k], err = bracket.Merge(ctx, frames, bracket.Options{Reference: -1}); err != nil {
			return 0, err
		}
	}
	if m[0].Mosaic == nil || m[1].Mosaic == nil {
		return math.NaN(), nil
	}
	a, b := m[0].Mosaic, m[1].Mosaic
	var tenth [10]rms
	lo, hi := quantileOf(a, .02), quantileOf(a, .98)
	for i, v := range a.Pix {
		x := (v + b.Pix[i]) / 2
		if x <= lo || x >= hi || x > m[0].Clip/2 {
			continue
		}
		// What moved comes from fewer frames, and the merge says how much noisier that is.
		var predicted float64
		for _, r := range m {
			predicted += float64(r.Noise.VarAt(x)) * sq(float64(r.Louder.At(i%a.W, i/a.W)))
		}
		d := float64(v-b.Pix[i]) / math.Sqrt(predicted)
		k := int(10 * (log2(x) - log2(lo)) / (log2(hi) - log2(lo)))
		tenth[min(k, 9)].add(d)
	}
	worst := 0.
	for _, t := range tenth {
		if t.n > 1000 {
			worst = max(worst, t.root())
		}
	}
	return worst, nil
}

type rms struct{ sum, n float64 }

func (r *rms) add(e float64) { r.sum, r.n = r.sum+e*e, r.n+1 }
func (r *rms) root() float64 { return math.Sqrt(r.sum / r.n) }
func sq(x float64) float64   { return x * x }
func quantileOf(p *raster.Plane, q float64) float32 {
	var s []float32
	for i := 0; i < len(p.Pix); i += 7 {
		s = append(s, p.Pix[i])
	}
	slices.Sort(s)
	return s[int(q*float64(len(s)-1))]
}
