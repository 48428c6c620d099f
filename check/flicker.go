package check

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// flicker is what pulsing lamps did to short exposures. A sensor is read row by row,
// so a lamp that pulses at twice the mains' frequency leaves bands across the frame.
type flicker struct {
	banding float64 // largest amplitude of bands, EV, between two frames
	bands   int     // how many there are over the frame's height
	seconds float64 // exposure time of the frame that has them
	marked  float64
}

// measureFlicker adds to what the search for movement saw the short frames that the
// merge left out: bands may be all that it could not align.
func (v *seen) measureFlicker(ctx context.Context) error {
	v.banded = make([]bool, len(v.frames))
	for i, f := range v.frames {
		if f.err != nil || v.merged.Frames[i].Used || !f.sees() {
			continue
		}
		next := slices.IndexFunc(v.used, func(j int) bool { return j > i })
		if next < 0 {
			continue
		}
		p, err := v.compare(ctx, i, v.used[next])
		if err != nil {
			return err
		}
		v.banded[i] = v.flicker.look(p, f)
		p.release()
	}
	return nil
}

// look searches the rows of a pair, of which a is the darker, shorter frame, and reports
// whether it has bands.
func (f *flicker) look(p *pair, a *small) bool {
	if a.info.Seconds <= 0 || a.info.Seconds > bandsBelow {
		return false
	}
	profile, ok := rowProfile(p.diff)
	if !ok {
		return false
	}
	amplitude, cycles, share := strongestWave(profile)
	if share < bandShare {
		return false
	}
	if amplitude >= f.banding {
		f.banding, f.bands, f.seconds, f.marked = amplitude, cycles, a.info.Seconds, a.info.Marked
	}
	return amplitude >= bandLook
}

// rowProfile is the mean difference of every row, with single things that moved held
// down, and a slow change from top to bottom taken off.
func rowProfile(d *raster.Plane) ([]float64, bool) {
	out := make([]float64, 0, d.H)
	var at []float64
	for y := range d.H {
		sum, n := 0., 0
		for _, v := range d.Row(y) {
			if v != blind {
				sum += float64(max(-.4, min(.4, v)))
				n++
			}
		}
		if n >= max(20, d.W/20) {
			out = append(out, sum/float64(n))
			at = append(at, float64(y)/float64(d.H)*2-1)
		}
	}
	if len(out) < d.H*3/4 {
		return nil, false
	}
	flatten(at, out)
	return out, true
}

// flatten takes a parabola, fitted by least squares, off the profile.
func flatten(at, v []float64) {
	for _, base := range []func(x float64) float64{
		func(float64) float64 { return 1 },
		func(x float64) float64 { return x },
		func(x float64) float64 { return x*x - 1./3 },
	} {
		num, den := 0., 0.
		for i, x := range at {
			num += base(x) * v[i]
			den += base(x) * base(x)
		}
		for i, x := range at {
			v[i] -= num / den * base(x)
		}
	}
}

// strongestWave returns the amplitude of the sine that explains most of a profile, how
// many periods it has, and the share of the variance it explains. Frames are read in
// 1/60 to 1/10 s, which makes 1.6 to 12 periods of 100 or 120 Hz; shutters of the slit
// kind read faster and show fewer.
func strongestWave(v []float64) (amplitude float64, cycles int, share float64) {
	n := float64(len(v))
	total := 0.
	for _, x := range v {
		total += x * x
	}
	for c := 3; c <= 48; c++ { // thirds of a period
		k := float64(c) / 3
		if k < 1.3 {
			continue
		}
		re, im := 0., 0.
		for i, x := range v {
			s, co := math.Sincos(2 * math.Pi * k * float64(i) / n)
			re += x * co
			im += x * s
		}
		a := 2 * math.Hypot(re, im) / n
		if e := a * a / 2 * n / math.Max(total, 1e-12); e > share {
			amplitude, cycles, share = a, int(math.Round(k)), e
		}
	}
	return amplitude, cycles, share
}
