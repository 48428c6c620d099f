package demosaic

import (
	"math"

	"mullion/internal/raster"
)

// band is a strip of the mosaic with its margins, in the flattened domain, and
// the differences found in it. All planes have the strip's padded size: column
// x of the mosaic is column x+margin here, row y is row y-top.
type band struct {
	y0, y1 int // rows of the mosaic to be written
	top    int // row of the mosaic that is row 0 here
	w      int // columns of the mosaic
	gx     int // column parity of green in even rows of the mosaic
	cfa    [2][2]uint8

	mosaic           *raster.Plane
	horiz, vert      *raster.Plane // green minus the other colour of the row / column
	smoothH, smoothV *raster.Plane // how much those differences vary, summed over 5 x 5
	diff             *raster.Plane // green minus red (or blue) at red (or blue) photosites
}

func newBand(m *raster.Plane, cfa [2][2]uint8, gx, y0, y1 int, flat Flatten) *band {
	b := &band{y0: y0, y1: y1, top: y0 - margin, w: m.W, gx: gx, cfa: cfa}
	w, h := m.W+2*margin, y1-y0+2*margin
	b.mosaic, b.horiz, b.vert = raster.Get(w, h), raster.Get(w, h), raster.Get(w, h)
	b.smoothH, b.smoothV, b.diff = raster.Get(w, h), raster.Get(w, h), raster.Get(w, h)
	for y := range h {
		row := b.mosaic.Row(y)
		flat.forward(row[margin:margin+m.W], m.Row(mirror(b.top+y, m.H)))
		for i := range margin {
			row[margin-1-i] = row[margin+mirror(-1-i, m.W)]
			row[margin+m.W+i] = row[margin+mirror(m.W+i, m.W)]
		}
	}
	return b
}

func (b *band) release() {
	raster.Put(b.mosaic, b.horiz, b.vert, b.smoothH, b.smoothV, b.diff)
}

// mirror reflects an index about the border sample, which keeps the colour of
// the photosite (reflecting about the border itself would not).
func mirror(i, n int) int {
	for i < 0 || i >= n {
		if i < 0 {
			i = -i
		} else {
			i = 2*(n-1) - i
		}
	}
	return i
}

// greenFirst returns the column parity, in padded columns, of green in padded row y.
func (b *band) greenFirst(y int) int {
	return (b.gx + margin + (b.top+y)&1) & 1
}

// directions fills the horizontal and vertical differences at every photosite and
// the smoothness of each around it.
func (b *band) directions() {
	h := b.mosaic.H
	for y := 2; y < h-2; y++ {
		b.rowDifferences(y)
	}
	gradH, gradV := raster.Get(b.mosaic.W, h), raster.Get(b.mosaic.W, h)
	defer raster.Put(gradH, gradV)
	for y := 3; y < h-3; y++ {
		b.rowGradients(gradH.Row(y), gradV.Row(y), y)
	}
	for y := 5; y < h-5; y++ {
		sum5x5(b.smoothH.Row(y), gradH, y)
		sum5x5(b.smoothV.Row(y), gradV, y)
	}
}

// rowDifferences estimates, for the row and for the column through a photosite,
// green minus the other colour: the missing one of the two is the mean of its
// neighbours corrected by the curvature of the one that is there.
func (b *band) rowDifferences(y int) {
	w := b.mosaic.W
	m2, m1 := b.mosaic.Row(y-2), b.mosaic.Row(y - 1)[:w]
	c, p1, p2 := b.mosaic.Row(y)[:w], b.mosaic.Row(y + 1)[:w], b.mosaic.Row(y + 2)[:w]
	m2 = m2[:w]
	hd, vd := b.horiz.Row(y)[:w], b.vert.Row(y)[:w]
	sign := float32(1) // +1 where the photosite is green
	if b.greenFirst(y) != 0 {
		sign = -1 // column 2 has the parity of column 0
	}
	for x := 2; x < w-2; x++ {
		v := c[x]
		hd[x] = sign * (v - 0.5*(c[x-1]+c[x+1]) - 0.25*(2*v-c[x-2]-c[x+2]))
		vd[x] = sign * (v - 0.5*(m1[x]+p1[x]) - 0.25*(2*v-m2[x]-p2[x]))
		sign = -sign
	}
}

func (b *band) rowGradients(gh, gv []float32, y int) {
	w := b.mosaic.W
	hd := b.horiz.Row(y)[:w]
	up, down := b.vert.Row(y - 1)[:w], b.vert.Row(y + 1)[:w]
	gh, gv = gh[:w], gv[:w]
	for x := 3; x < w-3; x++ {
		gh[x] = magnitude(hd[x-1] - hd[x+1])
		gv[x] = magnitude(up[x] - down[x])
	}
}

// magnitude has no branch: the sign of a difference can't be foretold, and guessing
// wrong cost more than all else in rowGradients.
func magnitude(v float32) float32 {
	return math.Float32frombits(math.Float32bits(v) &^ (1 << 31))
}

func sum5x5(dst []float32, p *raster.Plane, y int) {
	w := p.W
	a, b, c, d, e := p.Row(y - 2)[:w], p.Row(y - 1)[:w], p.Row(y)[:w], p.Row(y + 1)[:w], p.Row(y + 2)[:w]
	dst = dst[:w]
	col := func(x int) float32 { return a[x] + b[x] + c[x] + d[x] + e[x] }
	s0, s1, s2, s3 := col(3), col(4), col(5), col(6)
	for x := 5; x < w-5; x++ {
		s4 := a[x+2] + b[x+2] + c[x+2] + d[x+2] + e[x+2]
		dst[x] = s0 + s1 + s2 + s3 + s4
		s0, s1, s2, s3 = s1, s2, s3, s4
	}
}
