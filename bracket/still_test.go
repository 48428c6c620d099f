package bracket

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// The merge of a tripod bracket against the light that fell on every photosite,
// and the scatter against what the weights promise.
func TestMergeStill(t *testing.T) {
	for _, name := range []string{"A-kitchen"} {
		k := take(t, taking{scenes: []*raster.RGB{scene(t, name)}, truth: true})
		r, err := Merge(bg, k.frames, Options{Reference: -1})
		if err != nil {
			t.Fatal(err)
		}
		if r.Mosaic == nil {
			t.Fatalf("%s: merged as moved: %+v", name, r.Frames)
		}
		e := logError(r.Mosaic, k.truth, r.Clip)
		t.Logf("%s: RMS %.4f EV, range %.1f EV, clip %.1f, frames %+v", name, e, r.RangeEV, r.Clip, r.Frames)
		for _, f := range r.Findings {
			t.Log(f)
		}
		if e > 0.012 {
			t.Errorf("%s: RMS error %.4f EV against the truth of every photosite", name, e)
		}
		lo, hi := chiByLevel(r, k.truth)
		t.Logf("%s: scatter over prediction %.3f..%.3f", name, lo, hi)
		if hi > 1.15 || lo < 0.8 {
			t.Errorf("%s: noise is %.3f to %.3f of the prediction", name, lo, hi)
		}
		for i, f := range r.Frames {
			if !f.Used || math.Abs(f.RefinedEV-f.EV) > 0.01 || math.Hypot(f.ShiftX, f.ShiftY) > 0.1 {
				t.Errorf("%s frame %d: %+v", name, i, f)
			}
		}
	}
}

// chiByLevel returns the smallest and largest ratio of scatter to prediction over
// classes of half an EV.
func chiByLevel(r *Radiance, truth *raster.Plane) (lo, hi float64) {
	var sum, n [64]float64
	for i, v := range truth.Pix {
		if v <= 0 || v > r.Clip*0.9 {
			continue
		}
		k := int(2*math.Log2(float64(v/r.Clip)) + 60)
		if k < 0 {
			continue
		}
		d := float64(r.Mosaic.Pix[i] - v)
		sum[k] += d * d / float64(r.Noise.VarAt(v))
		n[k]++
	}
	lo = math.Inf(1)
	for i := range sum {
		if n[i] > 2000 {
			c := math.Sqrt(sum[i] / n[i])
			lo, hi = min(lo, c), max(hi, c)
		}
	}
	return lo, hi
}

// Flat fields with shot and read noise, in frames 2 EV and 1 EV apart: the variance of
// the merge is within 5 % of 1 / sum(1 / var_i) over the frames that see the level
// unclipped, which no unbiased estimate beats (Cramer-Rao; Granados et al., CVPR
// 2010), and its mean is the level.
func TestMergedVarianceOfFlats(t *testing.T) {
	const w, h = 512, 400
	const span = 15871.
	noise := line{1. / 37500, 3. * 3 / 37500 / 37500}
	rng := rand.New(rand.NewPCG(11, 12))
	for _, evs := range [][]float64{{-4, -2, 0, 2, 4}, {-1, 0, 1}, {-3, 0, 3}} {
		// Levels as a share of the reference's clipping point: none within the fade of
		// a frame, where the weight is not 1/variance by design.
		for _, level := range []float64{0.0004, 0.003, 0.012, 0.05, 0.19, 0.4} {
			var frames []*rawfile.Frame
			var info float64
			for _, ev := range evs {
				f := flat(w, h, 0, math.Exp2(ev))
				f.Mosaic.HasNoise = true
				for c := range f.Mosaic.Noise {
					f.Mosaic.Noise[c].S, f.Mosaic.Noise[c].O = noise.s, noise.o
				}
				mean := level * math.Exp2(ev)
				for i := range f.Mosaic.Pix {
					v := mean + rng.NormFloat64()*math.Sqrt(noise.at(mean))
					f.Mosaic.Pix[i] = uint16(max(0, min(16383, math.Round(512+v*span))))
				}
				if mean < 0.85 {
					info += math.Exp2(2*ev) / (noise.at(mean) + 1/span/span/12)
				}
				frames = append(frames, f)
			}
			m := merged(t, frames, len(evs)/2)
			var sum, sq float64
			for _, v := range m.Mosaic.Pix {
				sum, sq = sum+float64(v), sq+float64(v)*float64(v)
			}
			n := float64(len(m.Mosaic.Pix))
			mean := sum / n
			variance := sq/n - mean*mean
			gain := float64(m.Clip) / math.Exp2(-m.Frames[0].RefinedEV) // radiance of the reference's clipping point
			r := variance / gain / gain * info
			what := fmt.Sprintf("%v at %.4f", evs, level)
			t.Logf("%s: variance %.3f of the least, mean %.5f of the level", what, r, mean/gain/level)
			if r > 1.05 || r < 0.95 {
				t.Errorf("%s: variance is %.3f of 1/sum(1/var)", what, r)
			}
			if math.Abs(mean/gain/level-1) > 0.005 {
				t.Errorf("%s: mean is %.5f of the level", what, mean/gain/level)
			}
		}
	}
}

func merged(t *testing.T, frames []*rawfile.Frame, ref int) *Radiance {
	r, err := Merge(bg, frames, Options{Reference: ref})
	if err != nil {
		t.Fatal(err)
	}
	if r.Mosaic == nil {
		t.Fatal("merged as moved")
	}
	return r
}

// Shutters deviate and their times are rounded: the ratio between frames comes from the
// pixels, to a hundredth of an EV, although a fan turns and the file says otherwise.
func TestRatioFromPixels(t *testing.T) {
	var scenes []*raster.RGB
	for i := range 5 {
		scenes = append(scenes, scene(t, fmt.Sprintf("A-living-fan%d", i+1)).Crop(500, 200, 1000, 700))
	}
	k := take(t, taking{scenes: scenes})
	wrong := []float64{0.12, -0.07, 0, 0.2, -0.15} // EV that the file says too much
	var want []float64
	for i, f := range k.frames {
		want = append(want, math.Log2(f.Info.Seconds/k.frames[2].Info.Seconds))
		f.Info.Seconds *= math.Exp2(wrong[i])
	}
	r := merged(t, k.frames, 2)
	for i, f := range r.Frames {
		t.Logf("frame %d: the file says %+.3f EV, the pixels %+.4f, true %+.4f", i+1, f.EV, f.RefinedEV, want[i])
		if math.Abs(f.RefinedEV-want[i]) > 0.01 {
			t.Errorf("frame %d: %+.4f EV, true is %+.4f", i+1, f.RefinedEV, want[i])
		}
	}
}
