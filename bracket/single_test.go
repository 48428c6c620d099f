package bracket

import (
	"testing"

	"mullion/internal/raster"
)

// A frame by itself keeps its samples, also those that noise has put below black.
func TestSingleFrameKeepsItsSamples(t *testing.T) {
	dark := raster.NewRGB(64, 48)
	for c := range dark {
		for y := range dark.H() {
			for x := range dark.W() {
				dark[c].Row(y)[x] = 1e-6
				if x > 8 {
					dark[c].Row(y)[x] = 1
				}
			}
		}
	}
	k := take(t, taking{scenes: []*raster.RGB{dark}, ev: []float64{0}})
	r, err := Merge(bg, k.frames, Options{Reference: -1})
	if err != nil {
		t.Fatal(err)
	}
	f := k.frames[0].Mosaic
	below := 0
	for i, v := range r.Mosaic.Pix {
		n := (float32(f.Pix[i]) - f.Black[0][0]) / (f.White - f.Black[0][0])
		if n < 0 {
			below++
		}
		if d := v - min(1, n)*r.Clip; !(d < 1e-5*r.Clip && d > -1e-5*r.Clip) {
			t.Fatalf("sample %d is %g, want %g", i, v, n*r.Clip)
		}
	}
	if below < 50 {
		t.Errorf("only %d samples lie below black", below)
	}
}
