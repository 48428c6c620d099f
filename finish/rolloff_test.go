package finish

import (
	"math"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
)

// What clips in the camera ends grey, what is well below clipping keeps every bit of
// its colour, and between them the colour only ever fades.
func TestRollOff(t *testing.T) {
	toScene := colour.Mat3{{1.6, -0.2, 0.1}, {-0.1, 1.2, -0.2}, {0.05, -0.3, 1.9}}
	back, _ := toScene.Inverse()
	c := ceiling{back, 4, gone(false)}
	const n, wide = 60, 5
	img := raster.NewRGB(n*wide, 1)
	for x := range n * wide {
		share := float64(x/wide) / n * 1.5 // of clipping, in green
		v := toScene.Apply(colour.Vec3{0.5 * 4 * share, 4 * share, 0.7 * 4 * share})
		for k := range img {
			img[k].Row(0)[x] = float32(v[k])
		}
	}
	before := img.Clone()
	doubt, err := c.doubt(t.Context(), img)
	if err != nil {
		t.Fatal(err)
	}
	if err := rollOff(t.Context(), img, doubt); err != nil {
		t.Fatal(err)
	}
	last := math.Inf(1)
	for x := wide + wide/2; x < n*wide; x += wide {
		share := float64(x/wide) / n * 1.5
		r, g, b := float64(img[0].Row(0)[x]), float64(img[1].Row(0)[x]), float64(img[2].Row(0)[x])
		colourful := (max(r, g, b) - min(r, g, b)) / max(r, g, b)
		switch {
		case share < doubtFrom-0.01:
			for k := range img {
				if img[k].Row(0)[x] != before[k].Row(0)[x] {
					t.Errorf("at %.2f of clipping channel %d changed", share, k)
				}
			}
		case share > doubtTo+0.01 && colourful > 1e-5:
			t.Errorf("at %.2f of clipping there is still %.4f of colour", share, colourful)
		}
		if colourful > last+1e-5 {
			t.Errorf("at %.2f of clipping the colour rises from %.4f to %.4f", share, last, colourful)
		}
		last = colourful
		l := func(m *raster.RGB) float64 {
			return lumR*float64(m[0].Row(0)[x]) + lumG*float64(m[1].Row(0)[x]) + lumB*float64(m[2].Row(0)[x])
		}
		if d := math.Abs(l(img)/l(before) - 1); d > 1e-5 {
			t.Errorf("at %.2f of clipping the luminance moved by %.6f", share, d)
		}
	}
	if none, err := (ceiling{}).doubt(t.Context(), img); none != nil || err != nil {
		t.Errorf("a scene without a known end gave %v, %v", none, err)
	}
}

// In a rendered file white is white: of what its camera clipped no colour is left.
func TestRenderedWhiteIsWhite(t *testing.T) {
	img := raster.NewRGB(2, 1)
	for i, v := range []float32{2, 2, 1.9, 1, 1.1, .9} { // a clipped lamp, a wall
		img[i%3].Pix[i/3] = v
	}
	doubt, err := ceiling{colour.Identity, 2, gone(true)}.doubt(t.Context(), img)
	if err != nil {
		t.Fatal(err)
	}
	if doubt.Pix[0] != 1 || doubt.Pix[1] != 0 {
		t.Errorf("doubt is %v, want 1 at the lamp and 0 on the wall", doubt.Pix)
	}
}
