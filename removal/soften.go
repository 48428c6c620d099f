package removal

import (
	"context"
	"fmt"
	"math"

	"mullion/internal/raster"
)

// softStep is how finely a softened region's lightness is told, of the root of linear
// light, and how far red and blue lie from grey. Colour is counted from grey: channels
// rounded each for itself would turn a grey wall pink or lilac, another way at another
// size. A finer step of colour than of light would tell more of two-coloured plates.
const softStep = 1. / 15

// Soften makes what the mask covers unreadable, in place and for good: of all that was
// there one colour is left, its mean, rounded to one of 16 steps of lightness, and its
// hue as finely. Towards the edge it passes into what lies around the mask. It returns
// the number of pixels written.
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
	means := roundedMean(img, depth, room)
	for c, p := range img {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		around := pullPush(p, depth, room)
		mean := means[c]
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

// roundedMean is the mean of what the mask covers: one of 16 steps of equal lightness,
// about (the root of linear light), with the hue it has.
func roundedMean(img *raster.RGB, depth []float32, b box) [3]float32 {
	var root [3]float64
	for c, p := range img {
		var sum, n float64
		for y := b.y0; y < b.y1; y++ {
			for x, v := range p.Row(y)[b.x0:b.x1] {
				if depth[(y-b.y0)*b.w()+x] > 0 {
					sum += float64(v)
					n++
				}
			}
		}
		root[c] = math.Sqrt(max(0, sum/n))
	}
	const r, g, bl = 0.2126, 0.7152, 0.0722 // BT.709
	light := r*root[0] + g*root[1] + bl*root[2]
	red, blue := inSteps(root[0]-light), inSteps(root[2]-light)
	light = inSteps(light)
	root = [3]float64{light + red, light - (r*red+bl*blue)/g, light + blue}
	var out [3]float32
	for c, v := range root {
		v = max(0, min(1, v))
		out[c] = float32(v * v)
	}
	return out
}

func inSteps(v float64) float64 { return math.Round(v/softStep) * softStep }

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
