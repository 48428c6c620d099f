package finish

import (
	"math"
	"testing"

	"mullion/bracket"
	"mullion/deliver"
	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/shoot"
)

// The largest wanted size decides; a sheet of all pixels asks for the whole, and
// small pictures are made whole.
func TestNeeded(t *testing.T) {
	sheet := func(edge int) deliver.Sheet { return deliver.Sheet{Pixels: deliver.Pixels{LongEdge: edge}} }
	for _, c := range []struct {
		edges      []int
		w, h       int
		outW, outH int
	}{
		{nil, 6000, 4000, 6000, 4000},
		{[]int{2048}, 6000, 4000, 3072, 2048},
		{[]int{2048}, 4000, 6000, 2048, 3072},
		{[]int{1024, 2048}, 6000, 4000, 3072, 2048},
		{[]int{2048, 0}, 6000, 4000, 6000, 4000},
		{[]int{1024}, 6000, 4000, 2400, 1600},
		{[]int{2048}, 4000, 3000, 4000, 3000},
		{[]int{1024}, 1800, 1200, 1800, 1200},
		{[]int{2048}, 6040, 4027, 3072, 2048}, // delivered in 2048 x 1365, from the whole too
	} {
		var sheets []deliver.Sheet
		for _, e := range c.edges {
			sheets = append(sheets, sheet(e))
		}
		if w, h := needed(sheets, c.w, c.h); w != c.outW || h != c.outH {
			t.Errorf("%v of %d x %d: %d x %d, want %d x %d", c.edges, c.w, c.h, w, h, c.outW, c.outH)
		}
	}
}

// Whatever a picture is worked on at, its files have the sizes that the whole would give.
func TestNeededKeepsSizes(t *testing.T) {
	sheets := []deliver.Sheet{{Pixels: deliver.Pixels{LongEdge: 2048}}, {Pixels: deliver.Pixels{MaxWidth: 1000, MaxHeight: 900, Ratio: "4:3"}}}
	for w := 5200; w < 6300; w += 7 {
		for _, h := range []int{w * 2 / 3, w*2/3 + 1, w*3/4 - 1, 9 * w / 16} {
			x, y := needed(sheets, w, h)
			if x >= w || y >= h {
				t.Fatalf("%d x %d is worked on at %d x %d", w, h, x, y)
			}
			if !sameSizes(sheets, w, h, x, y) {
				t.Errorf("%d x %d worked on at %d x %d gives other files", w, h, x, y)
			}
		}
	}
}

// A picture for small deliveries shows what the whole one shows, and says how much
// smaller it is; edits find their place in it through its map.
func TestStraightToTheNeededSize(t *testing.T) {
	straightened := func(sheets []deliver.Sheet) *picture {
		info := metadata.Info{FocalMM: 14, Focal35MM: 14, Orientation: 6}
		p := &picture{scene: &Scene{RGB: bars(4200, 2800), Merged: &bracket.Radiance{Info: info}}, sheets: sheets}
		if err := p.straighten(t.Context(), &shoot.Level{PitchDeg: 2, RollDeg: 1}); err != nil {
			t.Fatal(err)
		}
		return p
	}
	whole := straightened(nil)
	small := straightened([]deliver.Sheet{{Pixels: deliver.Pixels{LongEdge: 1200}}})
	if small.rgb.H() != 2400 || small.plan.H != 2400 || math.Abs(small.reduced*2400-float64(whole.rgb.H())) > 1 || whole.reduced != 1 {
		t.Fatalf("%d x %d, plan %d x %d, reduced by %.3f from %d", small.rgb.W(), small.rgb.H(), small.plan.W, small.plan.H, small.reduced, whole.rgb.H())
	}
	if small.plan.CropKept != whole.plan.CropKept {
		t.Error("another crop")
	}
	want, err := raster.Resize(t.Context(), whole.rgb[1], small.rgb.W(), small.rgb.H())
	if err != nil {
		t.Fatal(err)
	}
	var sum float64
	for i, v := range want.Pix {
		sum += math.Pow(float64(v-small.rgb[1].Pix[i]), 2)
	}
	if rms := math.Sqrt(sum / float64(len(want.Pix))); rms > 0.02 {
		t.Errorf("off by %.4f from the whole picture, reduced", rms)
	} else {
		t.Logf("off by %.4f from the whole picture, reduced", rms)
	}
}
