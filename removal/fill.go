package removal

import (
	"context"
	"errors"
	"fmt"
	"math"

	"mullion/internal/raster"
)

// Options steer a fill. The zero value suits masks painted by hand.
type Options struct {
	// Grow widens the mask, in pixels, to take the soft edge of the thing along. 0
	// chooses by the picture's size; negative is none.
	Grow int
	// Seed chooses among results of the same quality.
	Seed uint64
}

// Report says what a fill did.
type Report struct {
	Pixels int // filled, the widened edge included
	// Mismatch is how far the fill is from what it was copied for, in EV, root mean
	// square: the smaller, the less is to be seen.
	Mismatch float64
	// Depth is how far the innermost pixel that was filled is from the edge, in shares
	// of the picture's long side: half the width of a cord, half that of a bin.
	Depth float64
}

// ErrNoSource is returned when the picture around a mask has nothing to fill it with.
var ErrNoSource = errors.New("there is too little picture around the mask to fill it from; paint less, or crop the view")

// painted is the mask value from which a pixel goes.
const painted = 0.05

// Fill replaces what the mask covers, in place. img is a finished picture, linear
// light from 0 to 1; mask has its size and is 0 where the picture stays. Only the
// painted pixels, widened by Grow, and a soft edge of a few pixels are written. When
// it fails the picture may be partly filled.
func Fill(ctx context.Context, img *raster.RGB, mask *raster.Plane, opt Options) (Report, error) {
	if mask.W != img.W() || mask.H != img.H() {
		return Report{}, fmt.Errorf("removal: a mask of %d x %d pixels for a picture of %d x %d", mask.W, mask.H, img.W(), img.H())
	}
	f := &filler{img: img, mask: mask, seed: opt.Seed}
	long := max(mask.W, mask.H)
	switch {
	case opt.Grow > 0:
		f.grow = opt.Grow
	case opt.Grow == 0:
		f.grow = max(3, (long+400)/800)
	}
	f.soft = max(2, long/2000)
	f.cells = f.divide(bounds(mask))
	for i := range f.cells {
		if err := f.fill(ctx, i); err != nil {
			return Report{}, err
		}
	}
	r := Report{Pixels: f.pixels, Depth: float64(f.deepest) / float64(long)}
	if f.compared > 0 {
		r.Mismatch = math.Sqrt(f.squares / f.compared)
	}
	return r, ctx.Err()
}

// filler fills one picture, a cell at a time.
type filler struct {
	img        *raster.RGB
	mask       *raster.Plane
	grow, soft int // pixels: widened, and the soft edge beyond
	seed       uint64
	cells      []box

	pixels            int
	deepest           float32
	squares, compared float64
}

// box is the pixels [x0, x1) x [y0, y1).
type box struct{ x0, y0, x1, y1 int }

func (b box) empty() bool       { return b.x0 >= b.x1 || b.y0 >= b.y1 }
func (b box) has(x, y int) bool { return x >= b.x0 && x < b.x1 && y >= b.y0 && y < b.y1 }
func (b box) w() int            { return b.x1 - b.x0 }
func (b box) h() int            { return b.y1 - b.y0 }
func (b box) widen(n, w, h int) box {
	return box{max(0, b.x0-n), max(0, b.y0-n), min(w, b.x1+n), min(h, b.y1+n)}
}

// bounds is the box of the painted pixels.
func bounds(mask *raster.Plane) box { return boundsIn(mask, box{0, 0, mask.W, mask.H}) }

func boundsIn(mask *raster.Plane, in box) box {
	b := box{in.x1, in.y1, in.x0, in.y0}
	for y := in.y0; y < in.y1; y++ {
		row := mask.Row(y)[in.x0:in.x1]
		for x, v := range row {
			if v >= painted {
				b.x0, b.x1 = min(b.x0, in.x0+x), max(b.x1, in.x0+x+1)
				b.y0, b.y1 = min(b.y0, y), max(b.y1, y+1)
			}
		}
	}
	return b
}

// mostPixels is how many pixels a cell has at most with its surroundings.
const mostPixels = 2_500_000

// divide splits a box of painted pixels until each part can be worked on whole. A
// long cord becomes a chain of cells, filled one after the other; the later ones see
// the earlier ones filled.
func (f *filler) divide(b box) []box {
	if b.empty() {
		return nil
	}
	b = b.widen(f.grow+f.soft+1, f.mask.W, f.mask.H)
	r := b.widen(f.margin(b), f.mask.W, f.mask.H)
	if r.w()*r.h() <= mostPixels || max(b.w(), b.h()) < 256 {
		return []box{b}
	}
	first, second := b, b
	if b.w() >= b.h() {
		first.x1 = (b.x0 + b.x1) / 2
		second.x0 = first.x1
	} else {
		first.y1 = (b.y0 + b.y1) / 2
		second.y0 = first.y1
	}
	return append(f.divide(boundsIn(f.mask, first)), f.divide(boundsIn(f.mask, second))...)
}

// margin is how far around a cell its sources are sought.
func (f *filler) margin(b box) int {
	long := max(f.mask.W, f.mask.H)
	return max(64, min(long/12, 300), min(b.w(), b.h())/2)
}

// fill fills cell i.
func (f *filler) fill(ctx context.Context, i int) error {
	cell := f.cells[i]
	room := cell.widen(f.margin(cell), f.mask.W, f.mask.H)
	l, distance, err := f.code(ctx, i, room)
	if err != nil {
		return err
	}
	seed := f.seed + uint64(i)*0x9E3779B97F4A7C15
	if err := l.complete(ctx, seed); err != nil {
		return err
	}
	return f.commit(ctx, i, room, l, distance)
}

// commit writes the cell's pixels.
func (f *filler) commit(ctx context.Context, i int, room box, l *level, distance []float32) error {
	f.deepest = max(f.deepest, l.deepest())
	ballots := l.ballots()
	origins := make([]origin, l.w*l.h)
	edge := float32(f.grow) + float32(f.soft) + 1
	mine := func(at int) bool {
		return distance[at] < edge && f.owner(room.x0+at%l.w, room.y0+at/l.w) == i
	}
	if err := raster.Bands(ctx, l.h, func(y0, y1 int) {
		for at := y0 * l.w; at < y1*l.w; at++ {
			origins[at].from = -1
			if mine(at) {
				if o, ok := l.elect(ballots, at%l.w, at/l.w); ok {
					origins[at] = o
				}
			}
		}
	}); err != nil {
		return err
	}
	l.evenGains(origins)
	light, index, err := l.even(ctx, origins, mine)
	if err != nil {
		return err
	}
	for at, o := range origins {
		if o.from < 0 {
			continue
		}
		f.pixels++
		if i := index[at]; i >= 0 {
			f.put(room, l.w, at, light[i])
			continue
		}
		share := (edge - distance[at]) / float32(f.soft+1)
		if share > 1 {
			share = 1
		}
		f.write(room, l.w, at, o, share)
	}
	for k, m := range l.field {
		f.squares += float64(m.cost)
		f.compared += 3 * float64(l.trust(int(l.list[k])))
	}
	return nil
}

// put writes one pixel of the hole from its logarithms of light.
func (f *filler) put(room box, w, at int, light [3]float32) {
	x, y := room.x0+at%w, room.y0+at/w
	for c, p := range f.img {
		p.Row(y)[x] = max(0, min(1, raster.Exp2(light[c])-toe))
	}
}

// write copies one pixel. Sources are known pixels, so the order doesn't matter.
func (f *filler) write(room box, w, at int, o origin, share float32) {
	x, y := room.x0+at%w, room.y0+at/w
	sx, sy := room.x0+int(o.from)%w, room.y0+int(o.from)/w
	gain := raster.Exp2(o.gain)
	for _, p := range f.img {
		v := (p.Row(sy)[sx]+toe)*gain - toe
		if v < 0 {
			v = 0
		} else if v > 1 {
			v = 1
		}
		d := &p.Row(y)[x]
		*d += share * (v - *d)
	}
}

// owner is the first cell that has the pixel, or -1.
func (f *filler) owner(x, y int) int {
	for i, c := range f.cells {
		if c.has(x, y) {
			return i
		}
	}
	return -1
}
