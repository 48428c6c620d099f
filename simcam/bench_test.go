package simcam

import (
	"context"
	"io"
	"testing"

	"mullion/internal/raster"
)

// enlarged is room at another size.
func enlarged(w, h int) Scene {
	return func(ctx context.Context) (*raster.RGB, error) {
		m := new(raster.RGB)
		for i, p := range room() {
			q, err := resample(ctx, p, w, h, Move{})
			if err != nil {
				return nil, err
			}
			m[i] = q
		}
		return m, nil
	}
}

func BenchmarkProject(b *testing.B) {
	scene, err := enlarged(1800, 1200)(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	for name, m := range map[string]Move{"still": {}, "moved": {X: 1.3, Y: -.4, Turn: .2}} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				p, err := LF1().Project(b.Context(), scene, 1, m)
				if err != nil {
					b.Fatal(err)
				}
				p.Close()
			}
		})
	}
}

func BenchmarkExpose(b *testing.B) {
	scene, err := enlarged(1800, 1200)(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	c := LF1()
	p, err := c.Project(b.Context(), scene, 1, Move{})
	if err != nil {
		b.Fatal(err)
	}
	for name, k := range map[string]Shutter{"dark": -23, "middle": -11, "bright": 1} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := c.Expose(b.Context(), p, Frame{Shutter: k, ISO: 160, FNumber: 8}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkJPEG(b *testing.B) {
	r := benchRaw(b)
	for b.Loop() {
		if err := r.WriteJPEG(b.Context(), io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}
