package main

import (
	"math"
	"testing"

	"mullion/internal/raster"
)

func TestBroughtToOneBrightness(t *testing.T) {
	m := raster.NewRGB(64, 64)
	for c := range m {
		for i := range m[c].Pix {
			m[c].Pix[i] = float32(i%64) / 63 * (1 - 0.1*float32(c))
		}
	}
	for _, goal := range []float64{0.3, 0.455, 0.7} {
		if got := meanGrey(toMean(m, goal)); math.Abs(got-goal) > 0.002 {
			t.Errorf("mean %.4f, want %.3f", got, goal)
		}
	}
	g := raster.New(64, 64)
	for i := range g.Pix {
		g.Pix[i] = float32(i % 64 * 4)
	}
	var sum float64
	for _, v := range equalised(g).Pix {
		sum += float64(v)
	}
	if got := sum / 64 / 64; math.Abs(got-116) > 0.1 {
		t.Errorf("mean code %.2f, want 116", got)
	}
}
