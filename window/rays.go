package window

import (
	"math"

	"mullion/internal/raster"
)

type vec struct{ x, y float64 }

func (a vec) to(b vec) vec              { return vec{b.x - a.x, b.y - a.y} }
func (a vec) plus(b vec, k float64) vec { return vec{a.x + k*b.x, a.y + k*b.y} }
func (a vec) mix(b vec, t float64) vec  { return a.plus(a.to(b), t) }
func (a vec) length() float64           { return math.Hypot(a.x, a.y) }

// inward is the unit vector to the right of the way from a to b, which for a side of a
// region points into it.
func (a vec) inward(b vec) vec {
	d := a.to(b)
	return vec{-d.y / d.length(), d.x / d.length()}
}

// rays is a part of the picture sampled on n lines that lead from one segment to
// another, depth samples each. The corners are in pixels of the picture.
type rays struct {
	a0, b0 vec // the rays begin between these
	a1, b1 vec // and end between these
	n      int
	depth  int

	log   []float32 // log2 luminance; NaN outside the picture
	warm  []float32 // log2(red/blue)
	green []float32 // log2(green) above the mean of log2(red) and log2(blue)
	shift []float32 // how much further along its ray each sample really lies, samples
	void  []bool    // samples that don't count; nil when all do

	// share is how much of the way from end a to end b each ray stands, as the window
	// is seen: where the rays grow shorter the window is further away, and a straight
	// line runs by these (the foreshortening of perspective).
	share []float64
}

// Along a side this much of both ends is left out: corners belong to two sides.
const cornerPart = 0.07

// maxRays along one side are enough to be sure of it.
const maxRays = 72

// sample reads the rays. Each sample is the mean of step x step pixels, and about step
// pixels from the next.
func sample(img *raster.RGB, a0, b0, a1, b1 vec, step float64) *rays {
	r := &rays{a0: a0, b0: b0, a1: a1, b1: b1}
	r.n = max(8, min(maxRays, int(a0.to(b0).length()/step/1.5)))
	r.depth = max(6, 1+int(max(a0.to(a1).length(), b0.to(b1).length())/step+0.5))
	h0, h1 := a0.to(a1).length(), b0.to(b1).length()
	r.share = make([]float64, r.n)
	for s := range r.share {
		t := r.along(s)
		r.share[s] = t * h1 / max(1e-9, (1-t)*h0+t*h1)
	}
	n := r.n * r.depth
	v := make([]float32, 4*n)
	r.log, r.warm, r.green, r.shift = v[:n], v[n:2*n], v[2*n:3*n], v[3*n:]
	box := max(1, int(step+0.5))
	for s := range r.n {
		t := r.along(s)
		p, q := a0.mix(b0, t), a1.mix(b1, t)
		for k := range r.depth {
			at := p.mix(q, float64(k)/float64(r.depth-1))
			x, y := corner(at.x, box), corner(at.y, box)
			i := s*r.depth + k
			r.log[i], r.warm[i], r.green[i] = patch(img, x, y, box)
			d := p.to(q)
			centre := vec{float64(x) + float64(box)/2, float64(y) + float64(box)/2}
			r.shift[i] = float32(at.to(centre).dot(d) / d.dot(d) * float64(r.depth-1))
		}
	}
	return r
}

// along is where ray s leaves its segment, 0 at a and 1 at b.
func (r *rays) along(s int) float64 {
	return cornerPart + (1-2*cornerPart)*(float64(s)+0.5)/float64(r.n)
}

// place is the line through sample k0 at the a end and k1 at the b end, in pixels.
func (r *rays) place(k0, k1 float64) (a, b vec) {
	return r.a0.mix(r.a1, k0/float64(r.depth-1)), r.b0.mix(r.b1, k1/float64(r.depth-1))
}

// only lets those samples count for which inside holds.
func (r *rays) only(inside func(p vec) bool) {
	r.void = make([]bool, r.n*r.depth)
	for s := range r.n {
		t := r.along(s)
		p, q := r.a0.mix(r.b0, t), r.a1.mix(r.b1, t)
		for k := range r.depth {
			r.void[s*r.depth+k] = !inside(p.mix(q, float64(k)/float64(r.depth-1)))
		}
	}
}

// corner is where the box nearest to x begins.
func corner(x float64, box int) int { return int(math.Round(x - float64(box)/2)) }

// patch is the logarithms of the mean of box x box pixels.
func patch(img *raster.RGB, x0, y0, box int) (log, warm, green float32) {
	if x0 < 0 || y0 < 0 || x0+box > img.W() || y0+box > img.H() {
		nan := float32(math.NaN())
		return nan, nan, nan
	}
	var sum [3]float32
	for c := range img {
		for y := y0; y < y0+box; y++ {
			for _, v := range img[c].Row(y)[x0 : x0+box] {
				sum[c] += v
			}
		}
	}
	k := 1 / float32(box*box)
	lr, lg, lb := log2(sum[0]*k), log2(sum[1]*k), log2(sum[2]*k)
	return log2((0.2627*sum[0] + 0.6780*sum[1] + 0.0593*sum[2]) * k), lr - lb, lg - (lr+lb)/2
}

// edgeAt is how strongly the picture changes on ray s between samples k-1 and k: EV of
// luminance, and of colour. It is 0 where luminance, not colour, makes most of it and
// goes the other way than sign.
func (r *rays) edgeAt(s, k int, sign float32) float32 {
	if k < 2 || k+1 >= r.depth {
		return 0
	}
	i := s*r.depth + k
	d := func(v []float32) float32 { return (v[i] + v[i+1] - v[i-1] - v[i-2]) / 2 }
	l := d(r.log) * sign
	e := min(2, abs32(l)) + 0.7*abs32(d(r.warm)) + 1.4*abs32(d(r.green))
	if e != e || l < -e/2 {
		return 0
	}
	return e
}

func (a vec) dot(b vec) float64 { return a.x*b.x + a.y*b.y }

// bounds is an upright box.
type bounds struct{ x0, y0, x1, y1 float64 }

func newBounds(ps ...vec) bounds {
	b := bounds{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, p := range ps {
		b.x0, b.y0, b.x1, b.y1 = min(b.x0, p.x), min(b.y0, p.y), max(b.x1, p.x), max(b.y1, p.y)
	}
	return b
}

// within is the box with a margin, in whole pixels of a picture.
func (b bounds) within(w, h int, margin float64) (x0, y0, x1, y1 int) {
	return max(0, int(b.x0-margin)), max(0, int(b.y0-margin)), min(w, int(b.x1+margin)+1), min(h, int(b.y1+margin)+1)
}

// ridgeAt is how far ray s is darker at sample k than on both sides of it, EV.
func (r *rays) ridgeAt(s, k int) float32 {
	if k < ridgeReach || k+ridgeReach >= r.depth {
		return 0
	}
	i := s*r.depth + k
	e := min(r.log[i-ridgeReach], r.log[i+ridgeReach]) - r.log[i]
	if e != e {
		return 0
	}
	return e
}

const ridgeReach = 4 // samples to both sides
