package removal

import (
	"context"
	"fmt"
	"math"

	"mullion/internal/raster"
)

// softSteps is how many steps of lightness each colour of a softened region can have.
const softSteps = 16

// Soften makes what the mask covers unreadable, in place and for good: of all that was
// there one colour is left, its mean, rounded to one of 16 steps a channel. Towards the
// edge it passes into what lies around the mask. It returns the number of pixels
// written.
//
// One mean and no more, because a few are enough to be found out by: whoever knows what
// kind of thing was blurred can blur every candidate alike and compare (Hill, Zhou,
// Saul & Shacham, Proc. Privacy Enhancing Technologies 2016). Of a thousand number
// plates, known but for their letters, a mosaic of three cells a plate's height gives
// every single one away (10 bits of 10), one cell a height 3.6 to 7.7 bits; this leaves
// under one. See the test.
//
// One call softens one region; separate things take separate masks. Paint a little
// beyond the thing: what is outside the mask stays.
func Soften(ctx context.Context, img *raster.RGB, mask *raster.Plane) (int, error) {
	if mask.W != img.W() || mask.H != img.H() {
		return 0, fmt.Errorf("removal: a mask of %d x %d pixels for a picture of %d x %d", mask.W, mask.H, img.W(), img.H())
	}
	b := bounds(mask)
	if b.empty() {
		return 0, ctx.Err()
	}
	room := b.widen(2, mask.W, mask.H)
	depth := depthIn(mask, room)
	var deepest float32
	n := 0
	for _, d := range depth {
		if d > 0 {
			n++
			deepest = max(deepest, d)
		}
	}
	for _, p := range img {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		around := pullPush(p, depth, room)
		mean := roundedMean(p, depth, room)
		for y := room.y0; y < room.y1; y++ {
			row := p.Row(y)
			for x := room.x0; x < room.x1; x++ {
				at := (y-room.y0)*room.w() + x - room.x0
				if depth[at] > 0 {
					t := ease(min(1, depth[at]/(0.7*deepest)))
					row[x] = around[at]*(1-t) + mean*t
				}
			}
		}
	}
	return n, nil
}

// depthIn is how many pixels deep in the mask each pixel of a box lies, 0 outside.
func depthIn(mask *raster.Plane, b box) []float32 {
	l := &level{w: b.w(), h: b.h(), state: make([]uint8, b.w()*b.h())}
	for y := range l.h {
		for x, v := range mask.Row(b.y0 + y)[b.x0:b.x1] {
			l.state[y*l.w+x] = known
			if v >= painted {
				l.state[y*l.w+x] = hole
			}
		}
	}
	d := l.depths()
	for i, v := range d {
		if v > float32(l.w+l.h) { // the mask covers the whole picture
			d[i] = float32(min(l.w, l.h)) / 2
		}
	}
	return d
}

// roundedMean is the mean of what the mask covers, one of 16 steps of equal lightness,
// about (its square root in linear light).
func roundedMean(p *raster.Plane, depth []float32, b box) float32 {
	var sum, n float64
	for y := b.y0; y < b.y1; y++ {
		for x, v := range p.Row(y)[b.x0:b.x1] {
			if depth[(y-b.y0)*b.w()+x] > 0 {
				sum += float64(v)
				n++
			}
		}
	}
	root := math.Round(math.Sqrt(max(0, sum/n))*(softSteps-1)) / (softSteps - 1)
	return float32(root * root)
}

// pullPush continues what is outside the mask smoothly into it: means of known pixels
// at ever coarser sizes, and back, each unknown pixel from the next coarser size
// (Gortler, Grzeszczuk, Szeliski & Cohen, SIGGRAPH 1996).
func pullPush(p *raster.Plane, depth []float32, b box) []float32 {
	v, w := make([]float32, len(depth)), make([]float32, len(depth))
	for i, d := range depth {
		if d == 0 {
			v[i], w[i] = p.Row(b.y0 + i/b.w())[b.x0+i%b.w()], 1
		}
	}
	fillFrom(v, w, b.w(), b.h())
	return v
}

// fillFrom fills the pixels of weight 0.
func fillFrom(v, w []float32, width, height int) {
	if width <= 1 && height <= 1 {
		return
	}
	cw, ch := (width+1)/2, (height+1)/2
	cv, cn := make([]float32, cw*ch), make([]float32, cw*ch)
	for y := range height {
		for x := range width {
			at, to := y*width+x, y/2*cw+x/2
			cv[to] += w[at] * v[at]
			cn[to] += w[at]
		}
	}
	for i, n := range cn {
		if n > 0 {
			cv[i] /= n
			cn[i] = min(1, n)
		}
	}
	fillFrom(cv, cn, cw, ch)
	at := func(x, y int) float32 { return cv[min(max(y, 0), ch-1)*cw+min(max(x, 0), cw-1)] }
	for y := range height {
		for x := range width {
			i := y*width + x
			if w[i] >= 1 {
				continue
			}
			// The coarse pixels' middles lie at the corners of their four.
			fx, fy := float64(x)/2-0.25, float64(y)/2-0.25
			x0, y0 := int(math.Floor(fx)), int(math.Floor(fy))
			tx, ty := float32(fx-float64(x0)), float32(fy-float64(y0))
			coarse := (at(x0, y0)*(1-tx)+at(x0+1, y0)*tx)*(1-ty) + (at(x0, y0+1)*(1-tx)+at(x0+1, y0+1)*tx)*ty
			v[i] = w[i]*v[i] + (1-w[i])*coarse
		}
	}
}

// ease is the cubic that starts and ends level.
func ease(t float32) float32 { return t * t * (3 - 2*t) }
