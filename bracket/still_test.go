package bracket

import (
	"math"
	"testing"

	"mullion/internal/raster"
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
