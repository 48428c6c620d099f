package bracket

import (
	"context"
	"testing"

	"mullion/internal/raster"
)

// bench24 is five frames of 24 megapixels.
func bench24(b *testing.B) taken {
	k := take(b, taking{scenes: []*raster.RGB{scene(b, "A-kitchen")}, scale: 10. / 3})
	b.ResetTimer()
	b.ReportAllocs()
	return k
}

func stage(b *testing.B, until func(m *merger) func(context.Context) error) {
	k := bench24(b)
	for b.Loop() {
		b.StopTimer()
		m := placed(b, k)
		for _, step := range []func(context.Context) error{m.ratios, m.motion} {
			if err := step(bg); err != nil {
				b.Fatal(err)
			}
		}
		b.StartTimer()
		if err := until(m)(bg); err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		raster.Put(m.out.Mosaic)
		m.release()
		b.StartTimer()
	}
}

func BenchmarkAlign24MP(b *testing.B) {
	k := bench24(b)
	for b.Loop() {
		placed(b, k).release()
	}
}

func BenchmarkMotion24MP(b *testing.B) {
	stage(b, func(m *merger) func(context.Context) error { return m.motion })
}

func BenchmarkFuse24MP(b *testing.B) {
	stage(b, func(m *merger) func(context.Context) error { return m.fuse })
}

func BenchmarkMerge24MP(b *testing.B) {
	k := bench24(b)
	for b.Loop() {
		r, err := Merge(bg, k.frames, Options{Reference: -1})
		if err != nil {
			b.Fatal(err)
		}
		raster.Put(r.Mosaic)
	}
}
