// Package rastertest reads the pictures that tests of several packages look at.
package rastertest

import (
	"image/png"
	"os"
	"testing"

	"mullion/internal/raster"
)

// ReadPNG reads a PNG's codes as planes, 0 to 1; the test ends where it can't.
func ReadPNG(t testing.TB, name string) *raster.RGB {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	b := img.Bounds()
	m := raster.NewRGB(b.Dx(), b.Dy())
	for y := range b.Dy() {
		for x := range b.Dx() {
			r, g, bl, _ := img.At(b.Min.X+x, b.Min.Y+y).RGBA()
			for c, v := range [3]uint32{r, g, bl} {
				m[c].Row(y)[x] = float32(v) / 65535
			}
		}
	}
	return m
}
