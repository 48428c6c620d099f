package whitebalance

import (
	"context"
	"math"
	"testing"

	"mullion/internal/raster"
)

// synthetic is a grey room with a gradient from lamp to daylight and a few
// coloured patches, w x h.
func synthetic(w, h int) *raster.RGB {
	m := raster.NewRGB(w, h)
	for y := range h {
		for x := range w {
			t := float64(x) / float64(w)
			paint := [3]float64{.8, .8, .8}
			if y > 2*h/3 {
				paint = [3]float64{.4, .3, .2}
			}
			if x > w/3 && x < w/2 && y > h/3 && y < h/2 {
				paint = [3]float64{.1, .3, .5}
			}
			i := y*m[0].Stride + x
			m[0].Pix[i] = float32(paint[0] * math.Exp(.4*(1-t)))
			m[1].Pix[i] = float32(paint[1])
			m[2].Pix[i] = float32(paint[2] * math.Exp(-.9*(1-t)))
		}
	}
	return m
}

func BenchmarkMeasure24MP(b *testing.B) {
	img := synthetic(6000, 4000)
	for b.Loop() {
		if _, err := Measure(context.Background(), img, nil, Prior{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkApply24MP(b *testing.B) {
	img := synthetic(6000, 4000)
	e, err := Measure(context.Background(), img, nil, Prior{})
	if err != nil {
		b.Fatal(err)
	}
	window := raster.New(6000, 4000)
	for y := 500; y < 1500; y++ {
		for x := 3000; x < 4500; x++ {
			window.Row(y)[x] = 1
		}
	}
	b.SetBytes(12 * 24e6)
	for b.Loop() {
		if err := e.Apply(context.Background(), img, window); err != nil {
			b.Fatal(err)
		}
	}
}

// A shoot of forty views whose rooms have no names.
func BenchmarkAgree40(b *testing.B) {
	var views []View
	for _, n := range []string{"entry", "living", "dining", "kitchen", "kitchenwide", "guest", "bath", "shower"} {
		r := loadRoom(b, n, "")
		e, err := Measure(context.Background(), r.img, r.window, Prior{})
		if err != nil {
			b.Fatal(err)
		}
		for range 5 {
			views = append(views, View{"", e.Evidence()})
		}
	}
	for b.Loop() {
		Agree(views)
	}
}
