package removal

import (
	"context"
	"math"

	"mullion/internal/raster"
)

const (
	reach = 5           // a patch reaches this far from its middle
	side  = 2*reach + 1 // pixels along a patch's side
	chans = 4           // floats a pixel: three logarithms of light and the texture
)

// What a pixel of a level is.
const (
	known = iota
	hole  // to be filled
	void  // neither known nor to be filled now: filled with a later cell
)

// level is one resolution of a cell, finest first in a pyramid.
type level struct {
	w, h   int
	reach2 float32   // 1 over the square of how far the search reaches, in pixels
	pix    []float32 // chans a pixel, row by row
	state  []uint8
	weight []float32 // how far a pixel is trusted when patches are compared, 0..1
	source []bool    // the patch around this pixel is wholly known
	list   []int32   // middles of the patches that touch the hole, row by row
	index  []int32   // of a pixel in list, or -1
	field  []match   // of list
	before []match
}

// match is where a patch found its like: the place of the other's middle, and how
// they compare.
type match struct {
	at   int32
	cost float32 // sum of squared differences, weighted
	gain float32 // to be added to the source's logarithms
}

// prepare works out everything that depends on the states only.
func (l *level) prepare() {
	n := l.w * l.h
	depth := l.depths()
	l.weight = make([]float32, n)
	for i, s := range l.state {
		switch s {
		case known:
			l.weight[i] = 1
		case hole:
			l.weight[i] = float32(math.Max(0.05, math.Pow(decay, -float64(depth[i]))))
		}
	}
	bad := l.near(func(s uint8) bool { return s != known })
	holes := l.near(func(s uint8) bool { return s == hole })
	l.source = make([]bool, n)
	l.index = make([]int32, n)
	for y := range l.h {
		for x := range l.w {
			i := y*l.w + x
			inside := x >= reach && y >= reach && x < l.w-reach && y < l.h-reach
			l.source[i] = inside && !bad[i]
			l.index[i] = -1
			if inside && holes[i] {
				l.index[i] = int32(len(l.list))
				l.list = append(l.list, int32(i))
			}
		}
	}
	l.field = make([]match, len(l.list))
	l.before = make([]match, len(l.list))
}

// near marks the pixels whose patch holds a pixel that is wanted.
func (l *level) near(want func(uint8) bool) []bool {
	across := make([]bool, l.w*l.h)
	for y := range l.h {
		last := -side
		row := across[y*l.w : (y+1)*l.w]
		for x := 0; x < l.w+reach; x++ {
			if x < l.w && want(l.state[y*l.w+x]) {
				last = x
			}
			if at := x - reach; at >= 0 {
				row[at] = last >= at-reach
			}
		}
	}
	out := make([]bool, l.w*l.h)
	for x := range l.w {
		last := -side
		for y := 0; y < l.h+reach; y++ {
			if y < l.h && across[y*l.w+x] {
				last = y
			}
			if at := y - reach; at >= 0 {
				out[at*l.w+x] = last >= at-reach
			}
		}
	}
	return out
}

// depths is how deep in the hole each pixel is: two sweeps of the 3-4 chamfer
// distance (Borgefors, CVGIP 34, 1986) in pixels.
func (l *level) depths() []float32 {
	const far = 1 << 20
	d := make([]float32, l.w*l.h)
	for i, s := range l.state {
		if s != known {
			d[i] = far
		}
	}
	look := func(i, x, y, dx, dy int, step float32) {
		if x+dx >= 0 && x+dx < l.w && y+dy >= 0 && y+dy < l.h {
			if v := d[i+dy*l.w+dx] + step; v < d[i] {
				d[i] = v
			}
		}
	}
	for y := range l.h {
		for x := range l.w {
			if i := y*l.w + x; d[i] > 0 {
				look(i, x, y, -1, 0, 1)
				look(i, x, y, 0, -1, 1)
				look(i, x, y, -1, -1, 4./3)
				look(i, x, y, 1, -1, 4./3)
			}
		}
	}
	for y := l.h - 1; y >= 0; y-- {
		for x := l.w - 1; x >= 0; x-- {
			if i := y*l.w + x; d[i] > 0 {
				look(i, x, y, 1, 0, 1)
				look(i, x, y, 0, 1, 1)
				look(i, x, y, 1, 1, 4./3)
				look(i, x, y, -1, 1, 4./3)
			}
		}
	}
	return d
}

// deepest is the depth of the hole's innermost pixel.
func (l *level) deepest() float32 {
	var most float32
	for i, d := range l.depths() {
		if l.state[i] == hole && d < 1<<19 && d > most {
			most = d
		}
	}
	return most
}

var binomial = [5]float32{1. / 16, 4. / 16, 6. / 16, 4. / 16, 1. / 16}

// halve returns the next coarser level: every second pixel of the binomial low-pass
// (Burt & Adelson 1983), taken over the known pixels only, so that nothing of what
// is to go leaks into what is known.
func (l *level) halve(ctx context.Context) (*level, error) {
	o := &level{reach2: 4 * l.reach2, w: (l.w + 1) / 2, h: (l.h + 1) / 2}
	o.pix = make([]float32, o.w*o.h*chans)
	o.state = make([]uint8, o.w*o.h)
	err := raster.Bands(ctx, o.h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range o.w {
				l.halvePixel(o, x, y)
			}
		}
	})
	return o, err
}

func (l *level) halvePixel(o *level, x, y int) {
	var sum [chans]float32
	var weight, voids float32
	for j, kj := range binomial {
		sy := min(max(2*y+j-2, 0), l.h-1)
		for i, ki := range binomial {
			sx := min(max(2*x+i-2, 0), l.w-1)
			k, at := kj*ki, sy*l.w+sx
			switch l.state[at] {
			case known:
				p := l.pix[at*chans : at*chans+chans : at*chans+chans]
				weight += k
				sum[0] += k * p[0]
				sum[1] += k * p[1]
				sum[2] += k * p[2]
				sum[3] += k * p[3]
			case void:
				voids += k
			}
		}
	}
	at := y*o.w + x
	if weight < 0.5 {
		o.state[at] = hole
		if voids > 0.5-weight/2 {
			o.state[at] = void
		}
		return
	}
	for c, s := range sum {
		o.pix[at*chans+c] = s / weight
	}
}
