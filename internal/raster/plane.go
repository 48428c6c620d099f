// Package raster is the ground floor: planar float32 images and the few
// operations every station shares.
//
// A [Plane] is one channel; an [RGB] is three planes of one size. Nothing here
// knows about colour or cameras. Loops over pixels are written as functions of a
// row, and [Bands] spreads bands of rows over the cores, so that every pass over
// a picture is split, cancelled and measured in the same way.
package raster

import "fmt"

// Plane is one channel of W x H samples, row-major. Row y starts at
// Pix[y*Stride]. Values have no fixed range; the owner says what they mean.
type Plane struct {
	W, H   int
	Stride int
	Pix    []float32
}

// New returns a zeroed plane of w x h samples.
func New(w, h int) *Plane {
	check(w, h)
	return &Plane{W: w, H: h, Stride: w, Pix: make([]float32, w*h)}
}

func check(w, h int) {
	if w < 0 || h < 0 {
		panic(fmt.Sprintf("raster: a plane of %d x %d", w, h))
	}
}

// Row returns the samples of row y, exactly W long.
func (p *Plane) Row(y int) []float32 {
	o := y * p.Stride
	return p.Pix[o : o+p.W : o+p.W]
}

// At returns the sample at (x, y) with both clamped into the plane. It is meant
// for borders and tests, not for inner loops.
func (p *Plane) At(x, y int) float32 {
	x = max(0, min(x, p.W-1))
	y = max(0, min(y, p.H-1))
	return p.Pix[y*p.Stride+x]
}

// Clone returns a copy with its own pixels.
func (p *Plane) Clone() *Plane {
	q := Get(p.W, p.H)
	for y := range p.H {
		copy(q.Row(y), p.Row(y))
	}
	return q
}

// Fill sets every sample to v.
func (p *Plane) Fill(v float32) {
	for y := range p.H {
		row := p.Row(y)
		for x := range row {
			row[x] = v
		}
	}
}

// Crop returns a view of the rectangle with the given corner and size. The
// pixels are shared. It panics when the rectangle leaves the plane.
func (p *Plane) Crop(x, y, w, h int) *Plane {
	if x < 0 || y < 0 || x+w > p.W || y+h > p.H {
		panic(fmt.Sprintf("raster: crop %d,%d %dx%d leaves a plane of %dx%d", x, y, w, h, p.W, p.H))
	}
	if w == 0 || h == 0 {
		return &Plane{W: w, H: h, Stride: p.Stride}
	}
	o := y*p.Stride + x
	return &Plane{W: w, H: h, Stride: p.Stride, Pix: p.Pix[o : o+(h-1)*p.Stride+w]}
}

// RGB is a colour image: three planes of one size in the order red, green, blue.
// Unless its owner says otherwise it is linear BT.2020 with a D65 white.
type RGB [3]*Plane

// NewRGB returns a zeroed colour image.
func NewRGB(w, h int) *RGB { return &RGB{New(w, h), New(w, h), New(w, h)} }

// W is the width in pixels.
func (m *RGB) W() int { return m[0].W }

// H is the height in pixels.
func (m *RGB) H() int { return m[0].H }

// Clone returns a copy with its own pixels.
func (m *RGB) Clone() *RGB { return &RGB{m[0].Clone(), m[1].Clone(), m[2].Clone()} }

// Crop returns a view of a rectangle of all three planes, sharing pixels.
func (m *RGB) Crop(x, y, w, h int) *RGB {
	return &RGB{m[0].Crop(x, y, w, h), m[1].Crop(x, y, w, h), m[2].Crop(x, y, w, h)}
}
