package warp

import (
	"math"
	"sync"

	"mullion/internal/raster"
)

// tile holds the buffers of one worker.
type tile struct {
	block  []float32 // the source block, encoded
	places []place
	xs, ys [tileW]float64
	lo, hi [tileW]float32 // scratch of rowN
}

var tiles = sync.Pool{New: func() any { return &tile{places: make([]place, tileW*tileH)} }}

// run makes the w x h pixels of the output at (x, y), all channels.
func (t *tile) run(j *job, x, y, w, h int) {
	var b box
	for c := range 3 {
		if c == 0 || j.grid.pos[0] != nil {
			b = t.locate(j, c, x, y, w, h)
		}
		t.load(j.src[c], b, j.pedestal, j.linear)
		for r := range h {
			out := j.dst[c].Row(y + r)[x : x+w]
			places := t.places[r*w : (r+1)*w]
			switch {
			case j.linear:
				rowN(out, t.block, b.w, places, b.kx, b.ky, t.lo[:], t.hi[:], j.near)
			case b.kx.n == 6 && b.ky.n == 6:
				row6(out, t.block, b.w, places, b.kx)
			default:
				rowN(out, t.block, b.w, places, b.kx, b.ky, t.lo[:], t.hi[:], nil)
			}
			if !j.linear {
				decodeRow(out, j.pedestal)
			}
			if j.grid.gain != nil {
				j.grid.gains(x, y+r, out)
			}
		}
	}
}

// near is how far radiance may leave the range of pixels.
func (j *job) near(lo, hi float32) (float32, float32) {
	const share = 0.0595 // 2^(1/12) - 1
	return lo - share*(j.pedestal+abs(lo)), hi + share*(j.pedestal+abs(hi))
}

func abs(v float32) float32 {
	if v < 0 {
		return -v
	}
	return v
}

// box is the block of the source that a tile needs and its kernels.
type box struct {
	x, y, w, h int
	kx, ky     *kernel
}

// locate finds the block and the place in it of every pixel.
func (t *tile) locate(j *job, c, x, y, w, h int) box {
	x0, y0, x1, y1, sx, sy := j.grid.bounds(c, x, y, w, h)
	var b box
	b.kx, b.ky = j.kernels.get(sx), j.kernels.get(sy)
	// Far outside, every place is the border's: no need for a larger block.
	reach := func(n int, k *kernel, v float64) int {
		return int(math.Floor(max(-float64(k.n)-2, min(float64(n+k.n)+2, v-0.5))))
	}
	sw, sh := j.src.W(), j.src.H()
	b.x, b.y = reach(sw, b.kx, x0)-b.kx.n/2, reach(sh, b.ky, y0)-b.ky.n/2
	b.w = reach(sw, b.kx, x1) + b.kx.n/2 + 2 - b.x
	b.h = reach(sh, b.ky, y1) + b.ky.n/2 + 2 - b.y
	left, top := float64(b.x+b.kx.n/2-1)+0.5, float64(b.y+b.ky.n/2-1)+0.5
	maxX, maxY := float64(b.w-b.kx.n), float64(b.h-b.ky.n)
	for r := range h {
		j.grid.row(c, x, y+r, t.xs[:w], t.ys[:w])
		places := t.places[r*w : (r+1)*w]
		for i := range places {
			ix, iy := within(t.xs[i]-left, maxX), within(t.ys[i]-top, maxY)
			places[i] = place{int32(iy/phases*b.w + ix/phases), uint8(ix % phases), uint8(iy % phases)}
		}
	}
	return b
}

// within bounds v to 0 ... most and returns it in phases.
func within(v, most float64) int {
	if !(v > 0) {
		return 0
	}
	if v > most {
		v = most
	}
	return int(v*phases + 0.5)
}

// copyFinite copies src, the undefined as 0.
func copyFinite(dst, src []float32) {
	for i, v := range src[:len(dst)] {
		if v-v != 0 {
			v = 0
		}
		dst[i] = v
	}
}

// load encodes the block, or copies it when the averages are to be linear, repeating border pixels.
func (t *tile) load(src *raster.Plane, b box, pedestal float32, linear bool) {
	if n := b.w*b.h + beyond; cap(t.block) < n {
		t.block = make([]float32, n)
	} else {
		t.block = t.block[:n]
	}
	clear(t.block[b.w*b.h:])
	x0, x1 := max(0, min(src.W-1, b.x)), max(1, min(src.W, b.x+b.w))
	for r := range b.h {
		row := src.Row(max(0, min(src.H-1, b.y+r)))
		out := t.block[r*b.w : (r+1)*b.w]
		// Columns [x0, x1) lie in the source.
		first := max(0, min(b.w-1, x0-b.x))
		last := max(first+1, min(b.w, x1-b.x))
		from := row[max(x0, min(src.W-1, b.x+first)):]
		if linear {
			copyFinite(out[first:last], from)
		} else {
			encodeRow(out[first:last], from, pedestal)
		}
		for i := range first {
			out[i] = out[first]
		}
		for i := last; i < b.w; i++ {
			out[i] = out[last-1]
		}
	}
}
