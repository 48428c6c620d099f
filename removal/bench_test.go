package removal

import (
	"context"
	"math"
	"testing"

	"mullion/internal/raster"
)

// floor is a picture of boards with grain, under a gradient of light.
func floorBoards(w, h int) *raster.RGB {
	m := raster.NewRGB(w, h)
	for y := range h {
		for x := range w {
			r := random{uint64(y*w + x)}
			grain := float32(r.within(1000)) / 1000 * 0.01
			board := 0.02 * float32((y/60*7919)%5)
			light := 0.25 + 0.2*float32(x)/float32(w)
			if y%60 < 3 {
				light *= 0.5
			}
			for c := range m {
				m[c].Row(y)[x] = light + grain + board - 0.03*float32(c)
			}
		}
	}
	return m
}

func benchmarkFill(b *testing.B, paint func(mask *raster.Plane)) {
	img := floorBoards(6000, 4000)
	mask := raster.New(6000, 4000)
	paint(mask)
	for b.Loop() {
		if _, err := Fill(context.Background(), img, mask, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFillSmall(b *testing.B) {
	benchmarkFill(b, func(m *raster.Plane) { m.Crop(2800, 2000, 300, 60).Fill(1) })
}

func BenchmarkFillCord(b *testing.B) {
	benchmarkFill(b, func(m *raster.Plane) {
		for i := range 4000 {
			y := 2000 + int(600*math.Sin(float64(i)/700))
			m.Crop(1000+i, y, 1, 40).Fill(1)
		}
	})
}
