package removal

import (
	"math"
	"testing"

	"mullion/internal/raster"
)

// A wall under uneven light has no two places alike. Filled, it must have neither steps
// nor clouds: averaged over 17 x 17 pixels it is within 6 % of the truth everywhere (12 %
// with the copied values as they are), and its grain is still there.
func TestLightRunsThroughTheHole(t *testing.T) {
	const w, h = 420, 320
	truth := raster.NewRGB(w, h)
	for y := range h {
		for x := range w {
			dx, dy := float64(x-300)/260, float64(y+40)/300
			light := 0.12 + 0.5*math.Exp(-dx*dx-dy*dy)
			r := random{uint64(y*w + x)}
			grain := 1 + float64(r.within(1000))/1000*0.04
			for c := range truth {
				truth[c].Row(y)[x] = float32(light * grain * (1 - 0.08*float64(c)))
			}
		}
	}
	mask := raster.New(w, h)
	Box{150, 100, 120, 110}.Paint(mask)
	got := truth.Clone()
	for c := range got {
		for y := range h {
			for x, v := range mask.Row(y) {
				if v > 0 {
					got[c].Row(y)[x] = 0.9
				}
			}
		}
	}
	report, err := Fill(ctx, got, mask, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if deep := report.Depth * w; deep < 55 || deep > 70 {
		t.Errorf("a hole of 110 pixels is said to be %.0f deep", deep)
	}
	mean, want := raster.New(w, h), raster.New(w, h)
	if err := raster.Box(ctx, mean, got[1], 8); err != nil {
		t.Fatal(err)
	}
	if err := raster.Box(ctx, want, truth[1], 8); err != nil {
		t.Fatal(err)
	}
	worst, grain, all, n := 0., 0., 0., 0.
	for y := 100; y < 210; y++ {
		for x := 150; x < 270; x++ {
			worst = max(worst, math.Abs(float64(mean.At(x, y)/want.At(x, y))-1))
			grain += math.Pow(float64(got[1].At(x, y)/mean.At(x, y))-1, 2)
			all += math.Pow(float64(truth[1].At(x, y)/want.At(x, y))-1, 2)
			n++
		}
	}
	ratio := math.Sqrt(grain / all)
	t.Logf("off by %.1f %% at most, grain %.2f of the truth's", 100*worst, ratio)
	if worst > 0.06 || ratio < 0.8 || ratio > 1.2 {
		t.Errorf("off by %.1f %% at most, want 6; grain %.2f of the truth's, want 0.8 to 1.2", 100*worst, ratio)
	}
}
