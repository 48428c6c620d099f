package bracket

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// hue is the colour of the light that comes near clipping, as it is measured beside what
// clips: colours change slowly there (a sky, a lit wall, a shade around a lamp), and the
// ratio of a clipped channel to the others is that of places close by where nothing
// clips. So mended values go on from measured ones without a step, and noise that takes
// one pixel over the edge and leaves the next one under it is not made larger.
//
// It is kept in cells of a few pixels, as log2 of the channels balanced by the neutral,
// less their mean. Cells without a measurement take those of larger and larger cells
// around them (normalised convolution, Knutsson & Westin, CVPR 1993, in the pyramid of
// Gortler et al., SIGGRAPH 1996), up to a part of the picture; beyond it is 0, the
// neutral's.
type hue struct {
	sum     [3]*raster.Plane // of colours, red, green, blue, as far as they are measured
	weight  *raster.Plane    // how far that is
	cell    int              // pixels along a cell's side
	levels  int
	neutral float32 // the weight of the neutral
}

const (
	hueCell  = 4    // pixels: more than interpolation carries a clipped sample
	hueCells = 1000 // along the long side at most; else cells are larger
	hueFrom  = 0.35 // share of clipping from which light counts as near it
	hueReach = 16   // part of the long side over which colours are carried
	hueLess  = 0.1  // what cells of twice the size count beside those of one
)

// newHue measures it; n is the neutral, its largest channel 1.
func newHue(ctx context.Context, rgb *raster.RGB, clip float32, n [3]float32) (*hue, error) {
	cell, long := hueCell, max(rgb.W(), rgb.H())
	for long > hueCells*cell {
		cell *= 2
	}
	w, h := (rgb.W()+cell-1)/cell, (rgb.H()+cell-1)/cell
	u := &hue{weight: raster.Get(w, h), cell: cell}
	for c := range u.sum {
		u.sum[c] = raster.Get(w, h)
	}
	full := raster.Get(w, h) // 1 where a pixel of the cell clips
	defer raster.Put(full)
	err := raster.BandsOf(ctx, h, 16, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			u.measure(rgb, full.Row(y), y, 1/clip, n)
		}
	})
	if err == nil {
		err = dilate(ctx, full, 1)
	}
	if err == nil {
		for i, f := range full.Pix {
			if f > 0 {
				u.weight.Pix[i] = 0
				for c := range u.sum {
					u.sum[c].Pix[i] = 0
				}
			}
		}
		u.levels, err = u.fill(ctx, long/hueReach/cell)
	}
	if err != nil {
		u.release()
		return nil, err
	}
	u.neutral = float32(math.Pow(hueLess, float64(u.levels+1)))
	return u, nil
}

func (u *hue) release() {
	if u != nil {
		raster.Put(u.sum[0], u.sum[1], u.sum[2], u.weight)
	}
}

// measure fills row y of the cells with the mean colours of their bright pixels.
func (u *hue) measure(rgb *raster.RGB, full []float32, y int, inv float32, n [3]float32) {
	var to [3][]float32
	for c := range to {
		to[c] = u.sum[c].Row(y)
		clear(to[c])
	}
	weight := u.weight.Row(y)
	clear(weight)
	clear(full)
	one := 1 / float32(u.cell*u.cell)
	from := hueFrom / inv
	var off [3]float32
	for c := range off {
		off[c] = raster.Log2(n[c])
	}
	for j := y * u.cell; j < min(rgb.H(), (y+1)*u.cell); j++ {
		r := rgb[0].Row(j)
		g, b := rgb[1].Row(j)[:len(r)], rgb[2].Row(j)[:len(r)]
		for x := range r {
			if r[x] < from && g[x] < from && b[x] < from {
				continue
			}
			most := max(r[x], g[x], b[x]) * inv
			if most >= clipEnd {
				full[x/u.cell] = 1
				continue
			}
			least := min(r[x], g[x], b[x]) * inv
			if least < 1./256 { // no colour that a light has
				continue
			}
			k := min(1, (most-hueFrom)*(1/(clipStart-hueFrom)))
			k *= k * (1 - clippedness(most, 1)) * one
			l := [3]float32{raster.Log2(r[x]) - off[0], raster.Log2(g[x]) - off[1], raster.Log2(b[x]) - off[2]}
			mean := (l[0] + l[1] + l[2]) * (1. / 3)
			for c := range l {
				to[c][x/u.cell] += k * (l[c] - mean)
			}
			weight[x/u.cell] += k
		}
	}
}

// fill carries colours to where none are measured, from cells within about reach cells,
// and returns over how many sizes.
func (u *hue) fill(ctx context.Context, reach int) (levels int, err error) {
	if reach < 2 || min(u.weight.W, u.weight.H) < 2 {
		return 0, ctx.Err()
	}
	v := &hue{}
	defer v.release()
	for i, p := range u.planes() {
		if *v.planes()[i], err = raster.Halve(ctx, *p); err != nil {
			return 0, err
		}
	}
	v.gather()
	if levels, err = v.fill(ctx, reach/2); err != nil {
		return 0, err
	}
	for i, p := range v.planes() {
		up, err := raster.Double(ctx, *p, u.weight.W, u.weight.H)
		if err != nil {
			return 0, err
		}
		to := (*u.planes()[i]).Pix
		for k, x := range up.Pix {
			to[k] += hueLess * x
		}
		raster.Put(up)
	}
	return levels + 1, nil
}

func (u *hue) planes() [4]**raster.Plane {
	return [4]**raster.Plane{&u.sum[0], &u.sum[1], &u.sum[2], &u.weight}
}

// gather makes means of four cells sums, and no more than one: a few sure places speak
// for their surroundings.
func (u *hue) gather() {
	for i, w := range u.weight.Pix {
		k := 4 / max(1, 4*w)
		u.weight.Pix[i] *= k
		for c := range u.sum {
			u.sum[c].Pix[i] *= k
		}
	}
}

// at is the sum and the weight at a place in cells, by straight lines between their
// centres.
func (u *hue) at(x, y float32) (sum [3]float32, weight float32) {
	w, h := u.weight.W, u.weight.H
	x, y = max(0, min(float32(w-1), x-.5)), max(0, min(float32(h-1), y-.5))
	i, j := int(x), int(y)
	fx, fy := x-float32(i), y-float32(j)
	i1, j1 := min(i+1, w-1), min(j+1, h-1)
	between := func(p *raster.Plane) float32 {
		a, b := p.Row(j), p.Row(j1)
		top, bottom := a[i]+(a[i1]-a[i])*fx, b[i]+(b[i1]-b[i])*fx
		return top + (bottom-top)*fy
	}
	for c := range sum {
		sum[c] = between(u.sum[c])
	}
	return sum, between(u.weight)
}

// along is, for the row y of the picture from column x0 on, by what factors the channels
// of the light at a pixel differ from the neutral's. It is nil for a nil hue.
func (u *hue) along(x0, y int) func(x int) [3]float32 {
	if u == nil {
		return nil
	}
	inv := 1 / float32(u.cell)
	return func(x int) (k [3]float32) {
		l, weight := u.at((float32(x0+x)+.5)*inv, (float32(y)+.5)*inv)
		for c := range k {
			k[c] = raster.Exp2(l[c] / (weight + u.neutral))
		}
		return k
	}
}
