package removal

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// toe is added to linear light before its logarithm is taken, so that noise in the
// blacks doesn't outweigh what is seen in the lights.
const toe = 0.05

// code makes the finest level of a cell from the room around it: logarithms of
// light, texture, and the states. distance is each pixel's from the painted ones.
func (f *filler) code(ctx context.Context, i int, room box) (*level, []float32, error) {
	l := &level{w: room.w(), h: room.h()}
	n := l.w * l.h
	far := float32(f.margin(f.cells[i]))
	l.reach2 = 1 / (far * far)
	l.state = make([]uint8, n)
	l.pix = make([]float32, n*chans)
	for y := range l.h {
		row := f.mask.Row(room.y0 + y)[room.x0:room.x1]
		for x, v := range row {
			if v < painted {
				l.state[y*l.w+x] = 1 // not known to depths: its distance is wanted
			}
		}
	}
	distance := l.depths()
	for at := range l.state {
		l.state[at] = known
		if distance[at] <= float32(f.grow) {
			switch o := f.owner(room.x0+at%l.w, room.y0+at/l.w); {
			case o == i:
				l.state[at] = hole
			case o > i || o < 0:
				l.state[at] = void
			}
		}
	}
	err := raster.Bands(ctx, l.h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r := f.img[0].Row(room.y0 + y)[room.x0:room.x1]
			g := f.img[1].Row(room.y0 + y)[room.x0:room.x1]
			b := f.img[2].Row(room.y0 + y)[room.x0:room.x1]
			for x := range r {
				at := y*l.w + x
				if l.state[at] == known {
					p := l.pix[at*chans : at*chans+3 : at*chans+3]
					p[0], p[1], p[2] = encode(r[x]), encode(g[x]), encode(b[x])
				}
			}
		}
	})
	if err != nil {
		return nil, nil, err
	}
	return l, distance, l.measureTexture(ctx)
}

func encode(v float32) float32 {
	if !(v > 0) {
		v = 0
	}
	return raster.Log2(v + toe)
}

// measureTexture fills the fourth channel: the mean size of the gradients within
// two pixels, over known pixels (Newson et al. 2014, section 3.2).
func (l *level) measureTexture(ctx context.Context) error {
	slope := raster.Get(l.w, l.h)
	defer raster.Put(slope)
	if err := raster.Bands(ctx, l.h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			row := slope.Row(y)
			for x := range row {
				row[x] = l.slope(x, y)
			}
		}
	}); err != nil {
		return err
	}
	mean := raster.Get(l.w, l.h)
	defer raster.Put(mean)
	if err := raster.Box(ctx, mean, slope, 2); err != nil {
		return err
	}
	for y := range l.h {
		for x, v := range mean.Row(y) {
			l.pix[(y*l.w+x)*chans+3] = v
		}
	}
	return nil
}

// slope is the gradient of green at a pixel; where a neighbour isn't known it is
// taken as level.
func (l *level) slope(x, y int) float32 {
	at := y*l.w + x
	if l.state[at] != known {
		return 0
	}
	var dx, dy float32
	if x+1 < l.w && l.state[at+1] == known {
		dx = l.pix[(at+1)*chans+1] - l.pix[at*chans+1]
	}
	if y+1 < l.h && l.state[at+l.w] == known {
		dy = l.pix[(at+l.w)*chans+1] - l.pix[at*chans+1]
	}
	return float32(math.Abs(float64(dx)) + math.Abs(float64(dy)))
}
