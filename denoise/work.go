package denoise

import (
	"context"
	"sync"

	"mullion/internal/raster"
)

// threshold says, by scale and for brightness and colour, how far above its noise a
// coefficient must stand to be kept: the garrote takes threshold^2 sigma^2 / c^2 of it.
// The values are near where the error is least, within a tenth of a decibel, over four of
// the Kodak pictures and three levels of noise; TestGain uses the others.
var threshold = [scales][2]float32{{1.8, 2.4}, {1.6, 1.7}, {1.4, 1.5}, {1.4, 1.5}}

// grain is the share of the taken-out brightness that is given back: a surface
// without any reads as plastic.
const grain = 0.1

// work is one image on its way.
type work struct {
	img    *raster.RGB
	need   *need
	clip   float32
	stab   *stabiliser
	basis  basis
	limit  [scales][3]limits
	levels [scales]level
}

// level is one scale in bent, rotated colour.
type level struct {
	w, h   int
	with   *raster.RGB // with its noise
	change *raster.RGB // what denoising adds to it; not on the finest scale
	tw, th int
	tiles  []bool // to be worked
}

// sizes lays out the scales and their thresholds.
func (k *work) sizes(s *Spectrum) {
	w, h := k.need.w, k.need.h
	for l := range k.levels {
		k.levels[l] = level{w: w, h: h, tw: (w + side - 1) / side, th: (h + side - 1) / side}
		w, h = (w+1)/2, (h+1)/2
		for d := range 3 {
			t := threshold[l][min(d, 1)]
			for i, v := range s.along(l, k.basis[d]) {
				for q := range k.limit[l][d] {
					k.limit[l][d][q][i] = t * t * v * float32(int(1)<<q)
				}
			}
			for q := range k.limit[l][d] {
				k.limit[l][d][q][0] = 0 // a mean is kept
			}
		}
	}
	// The finest scale is bent where a worked tile or its neighbour lies; coarser ones
	// are worked wherever that is.
	f := &k.levels[0]
	f.tiles = make([]bool, f.tw*f.th)
	for l := 1; l < scales; l++ {
		k.levels[l].tiles = make([]bool, k.levels[l].tw*k.levels[l].th)
	}
	for y := range f.th {
		for x := range f.tw {
			if !k.near(x, y) {
				continue
			}
			f.tiles[y*f.tw+x] = true
			for l := 1; l < scales; l++ {
				v := &k.levels[l]
				v.tiles[y>>l*v.tw+x>>l] = true
			}
		}
	}
}

func (k *work) near(x, y int) bool {
	for j := max(0, y-1); j <= min(k.need.th-1, y+1); j++ {
		for i := max(0, x-1); i <= min(k.need.tw-1, x+1); i++ {
			if k.need.tiles[j*k.need.tw+i] {
				return true
			}
		}
	}
	return false
}

func (k *work) release() {
	for l := range k.levels {
		raster.PutRGB(k.levels[l].with, k.levels[l].change)
	}
}

// split bends and rotates the image and makes the coarser scales. Where nothing is
// worked they are zero.
func (k *work) split(ctx context.Context) error {
	for l := range k.levels {
		v := &k.levels[l]
		v.with = raster.GetRGB(v.w, v.h)
		if l > 0 {
			v.change = raster.GetRGB(v.w, v.h)
		}
	}
	f := &k.levels[0]
	err := raster.BandsOf(ctx, f.h, side, func(y0, y1 int) {
		for t := range f.tw {
			x0, x1 := t*side, min(f.w, (t+1)*side)
			if f.tiles[y0/side*f.tw+t] {
				k.bend(x0, x1, y0, y1)
			} else {
				k.blank(x0, x1, y0, y1)
			}
		}
	})
	for l := 1; l+1 < scales && err == nil; l++ {
		from, to := k.levels[l].with, k.levels[l+1].with
		err = raster.BandsOf(ctx, to.H(), side/4, func(y0, y1 int) {
			for c := range to {
				for y := y0; y < y1; y++ {
					halveRow(to[c].Row(y), from[c].Row(2*y), from[c].Row(min(2*y+1, from.H()-1)))
				}
			}
		})
	}
	return err
}

// bend takes part of the image to the two finest scales.
func (k *work) bend(x0, x1, y0, y1 int) {
	fine, half := k.levels[0].with, k.levels[1].with
	for y := y0; y < y1; y++ {
		r, g, b := k.img[0].Row(y)[x0:x1], k.img[1].Row(y)[x0:x1], k.img[2].Row(y)[x0:x1]
		k.stab.bendRow(&k.basis, fine[0].Row(y)[x0:x1], fine[1].Row(y)[x0:x1], fine[2].Row(y)[x0:x1], r, g, b)
		if y&1 == 1 || y == y1-1 {
			for c := range half {
				halveRow(half[c].Row(y / 2)[x0/2:], fine[c].Row(y &^ 1)[x0:x1], fine[c].Row(y)[x0:x1])
			}
		}
	}
}

func (k *work) blank(x0, x1, y0, y1 int) {
	for _, p := range k.levels[1].with {
		for y := y0 / 2; y < (y1+1)/2; y++ {
			clear(p.Row(y)[x0/2 : (x1+1)/2])
		}
	}
}

// bendRow bends and rotates a row.
func (s *stabiliser) bendRow(m *basis, y, p, q, r, g, b []float32) {
	g, b, y, p, q = g[:len(r)], b[:len(r)], y[:len(r)], p[:len(r)], q[:len(r)]
	for x := range r {
		u, v, w := s.at(r[x]), s.at(g[x]), s.at(b[x])
		y[x] = m[0][0]*u + m[0][1]*v + m[0][2]*w
		p[x] = m[1][0]*u + m[1][1]*v + m[1][2]*w
		q[x] = m[2][0]*u + m[2][1]*v + m[2][2]*w
	}
}

// bench is a worker's memory.
type bench struct {
	sheet
	done   [3][side * side]float32
	amount [side]float32
}

var benches = sync.Pool{New: func() any { return new(bench) }}

// coarse finds the change of one of the coarser scales, those below it done.
func (k *work) coarse(ctx context.Context, l int) error {
	v := &k.levels[l]
	return raster.BandsOf(ctx, v.h, side, func(y0, y1 int) {
		b := benches.Get().(*bench)
		defer benches.Put(b)
		for t := range v.tw {
			x0, x1 := t*side, min(v.w, (t+1)*side)
			worked := v.tiles[y0/side*v.tw+t]
			for d := range 3 {
				if worked {
					k.gather(&b.sheet, l, d, x0, x1, y0, y1)
					b.shrink(x1-x0, y1-y0, &k.limit[l][d], k.loud(l, x0, y0))
				}
				for y := y0; y < y1; y++ {
					out := v.change[d].Row(y)[x0:x1]
					if !worked {
						clear(out)
						continue
					}
					with := v.with[d].Row(y)[x0:x1]
					z := b.in[(y-y0+reach)*padded+reach:][:len(out)]
					for x := range out {
						out[x] = z[x] - with[x]
					}
				}
			}
		}
	})
}

// gather fills a sheet with a tile of scale l, its coarser part denoised already, and
// what lies around it, mirrored at the border.
func (k *work) gather(s *sheet, l, d, x0, x1, y0, y1 int) {
	v := &k.levels[l]
	lo, hi := max(0, x0-reach), min(v.w, x0+whole(x1-x0)+reach)
	for j := range whole(y1-y0) + 2*reach {
		y := mirror(y0-reach+j, v.h)
		row := s.in[j*padded:][:padded]
		mid := row[lo-(x0-reach) : hi-(x0-reach)]
		copy(mid, v.with[d].Row(y)[lo:hi])
		if l+1 < scales {
			addDoubled(mid, k.levels[l+1].change[d], lo, y, 1)
		}
		for x := x0 - reach; x < lo; x++ {
			row[x-(x0-reach)] = mid[min(mirror(x, v.w), hi-1)-lo]
		}
		for x := hi; x < x0+whole(x1-x0)+reach; x++ {
			row[x-(x0-reach)] = mid[max(mirror(x, v.w), lo)-lo]
		}
	}
}

// loud tells the power of the noise in a tile of scale l; nil when it is as predicted.
func (k *work) loud(l, x0, y0 int) func(x, y int) uint8 {
	if k.need.louder == nil {
		return nil
	}
	return func(x, y int) uint8 { return k.need.loud(x0+x, y0+y, l) } // a block's middle
}

// mirror reflects an index at the borders of n samples.
func mirror(i, n int) int {
	if i < 0 {
		i = -1 - i
	}
	if i >= n {
		i = 2*n - 1 - i
	}
	return max(0, min(n-1, i))
}

// fine finishes the finest scale and brings the result back into the image.
func (k *work) fine(ctx context.Context) error {
	v := &k.levels[0]
	return raster.BandsOf(ctx, v.h, side, func(y0, y1 int) {
		b := benches.Get().(*bench)
		defer benches.Put(b)
		for t := range v.tw {
			if !k.need.tiles[y0/side*k.need.tw+t] {
				continue
			}
			x0, x1 := t*side, min(v.w, (t+1)*side)
			for d := range 3 {
				k.gather(&b.sheet, 0, d, x0, x1, y0, y1)
				b.shrink(x1-x0, y1-y0, &k.limit[0][d], k.loud(0, x0, y0))
				for y := range y1 - y0 {
					copy(b.done[d][y*side:], b.in[(y+reach)*padded+reach:][:x1-x0])
				}
			}
			for y := y0; y < y1; y++ {
				k.back(b, x0, x1, y0, y)
			}
		}
	})
}

// back rotates and bends a row of a tile back and mixes it in.
func (k *work) back(b *bench, x0, x1, y0, y int) {
	amount := b.amount[:x1-x0]
	k.need.amountRow(amount, x0, y)
	o := (y - y0) * side
	l, p, q := b.done[0][o:o+len(amount)], b.done[1][o:o+len(amount)], b.done[2][o:o+len(amount)]
	with := k.levels[0].with[0].Row(y)[x0:x1][:len(amount)]
	red, green, blue := k.img[0].Row(y)[x0:x1][:len(amount)], k.img[1].Row(y)[x0:x1][:len(amount)], k.img[2].Row(y)[x0:x1][:len(amount)]
	m := &k.basis
	fade := 1 / (k.clip * (fadeTo - fadeFrom))
	for x, a := range amount {
		if a == 0 {
			continue
		}
		i, j, h := red[x], green[x], blue[x]
		if top := max(i, j, h); top > fadeFrom*k.clip {
			a *= max(0, 1-(top-fadeFrom*k.clip)*fade)
		}
		y := l[x] + grain*(with[x]-l[x])
		red[x] = i + a*(k.stab.from(m[0][0]*y+m[1][0]*p[x]+m[2][0]*q[x])-i)
		green[x] = j + a*(k.stab.from(m[0][1]*y+m[1][1]*p[x]+m[2][1]*q[x])-j)
		blue[x] = h + a*(k.stab.from(m[0][2]*y+m[1][2]*p[x]+m[2][2]*q[x])-h)
	}
}

// Towards clipping nothing is changed: the stations after this one tell from the very
// values what clipped (shares of clip).
const fadeFrom, fadeTo = 0.75, 0.9
