package denoise

import (
	"context"
	"testing"

	"mullion/internal/raster"
)

// BenchmarkApply works 24 megapixels, noisy throughout and clean throughout.
func BenchmarkApply(b *testing.B) {
	const w, h = 6000, 4000
	s := white(b)
	img := raster.NewRGB(w, h)
	for c := range img {
		gaussian(img[c], uint64(c), 0, 1)
		for y := range h {
			row := img[c].Row(y)
			for x := range row {
				row[x] = 0.02 + 0.1*float32(x)/w + 0.004*row[x]
			}
		}
	}
	for _, one := range []struct {
		name string
		cam  camera
	}{{"noisy", camera{3000, 4}}, {"clean", camera{3e6, 4}}} {
		b.Run(one.name, func(b *testing.B) {
			var r Report
			for b.Loop() {
				b.StopTimer()
				work := img.Clone()
				b.StartTimer()
				var err error
				if r, err = Apply(context.Background(), work, one.cam.model(s)); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(w*h), "ns/px")
			b.ReportMetric(r.Share, "share")
		})
	}
}

func BenchmarkSpectrum(b *testing.B) {
	for b.Loop() {
		interpolated(b)
	}
}
