package check

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// blind marks a sample that its frame does not show: clipped, or drowned in noise.
const blind = -100

// pair compares two frames that follow each other in exposure, in the reference
// frame's geometry. What they differ by as a function of brightness alone (exposure,
// flare, the camera's curve) has been taken off.
type pair struct {
	diff  *raster.Plane // log2 of brighter over darker, levelled; blind where not both show it
	sigma *raster.Plane // its standard deviation by noise
	steep *raster.Plane // slope of the picture, log2 a pixel
	moved bool          // one of the two was moved to fit
}

func (p *pair) release() { raster.Put(p.diff, p.sigma, p.steep) }

// compare makes the pair of frames i and j, of which i is the darker.
func (v *seen) compare(ctx context.Context, i, j int) (*pair, error) {
	a, sa, ma, err := v.logs(ctx, i)
	if err != nil {
		return nil, err
	}
	b, sb, mb, err := v.logs(ctx, j)
	if err != nil {
		return nil, err
	}
	defer raster.Put(b, sb)
	p := &pair{diff: a, sigma: sa, steep: raster.Get(a.W, a.H), moved: ma || mb}
	slopes(p.steep, b)
	level := levels(a, b)
	for y := range a.H {
		da, db, s, t := a.Row(y), b.Row(y), sa.Row(y), sb.Row(y)
		for x, u := range da {
			if u == blind || db[x] == blind {
				da[x] = blind
				continue
			}
			da[x] = db[x] - u - level.at(db[x])
			s[x] = float32(math.Sqrt(float64(s[x]*s[x] + t[x]*t[x])))
		}
	}
	return p, nil
}

// logs returns log2 of the linear green of a frame and its standard deviation, in the
// reference frame's geometry, and whether it had to be moved for that.
func (v *seen) logs(ctx context.Context, i int) (l, sigma *raster.Plane, moved bool, err error) {
	f := v.frames[i]
	green := f.colours()[1]
	l, sigma = raster.Get(green.W, green.H), raster.Get(green.W, green.H)
	n := float64(f.step * f.step / 2)
	for y := range green.H {
		in, clip, lo, so := green.Row(y), f.clip.Row(y), l.Row(y), sigma.Row(y)
		for x, g := range in {
			lo[x], so[x] = blind, 1
			if clip[x] > 0 {
				continue
			}
			if f.frame.Coded != nil {
				if g > .06 && g < .94 {
					lin := f.frame.Coded.ToLinear[1](g)
					lo[x], so[x] = raster.Log2(lin), .006/lin+.02
				}
				continue
			}
			sd := math.Sqrt(f.noise.at(float64(g)) / n)
			if float64(g) > 6*sd && g < .9 {
				lo[x], so[x] = raster.Log2(g), float32(1.4427*sd)/g
			}
		}
	}
	r := v.merged.Frames[i]
	far := math.Hypot(r.ShiftX, r.ShiftY) + math.Abs(r.RotationDeg)*math.Pi/180*float64(green.W)/2
	if far < .05 || i == v.merged.Reference {
		return l, sigma, false, ctx.Err()
	}
	m := moveTo(l, r.ShiftX, r.ShiftY, r.RotationDeg)
	raster.Put(l)
	return m, sigma, far > .3, ctx.Err()
}

// moveTo resamples a frame into the reference's geometry: content lies at the shift in
// pixels and is turned clockwise on screen by deg.
func moveTo(src *raster.Plane, sx, sy, deg float64) *raster.Plane {
	dst := raster.Get(src.W, src.H)
	sin, cos := math.Sincos(deg * math.Pi / 180)
	cx, cy := float64(src.W-1)/2, float64(src.H-1)/2
	for y := range dst.H {
		row := dst.Row(y)
		dy := float64(y) - cy
		for x := range row {
			dx := float64(x) - cx
			u, w := cx+cos*dx-sin*dy+sx, cy+sin*dx+cos*dy+sy
			row[x] = blind
			ix, iy := int(math.Floor(u)), int(math.Floor(w))
			if ix < 0 || iy < 0 || ix+1 >= src.W || iy+1 >= src.H {
				continue
			}
			a, b, c, d := src.Row(iy)[ix], src.Row(iy)[ix+1], src.Row(iy + 1)[ix], src.Row(iy + 1)[ix+1]
			if min(a, b, c, d) == blind {
				continue
			}
			fx, fy := float32(u-float64(ix)), float32(w-float64(iy))
			row[x] = (a*(1-fx)+b*fx)*(1-fy) + (c*(1-fx)+d*fx)*fy
		}
	}
	return dst
}

// slopes writes the steepest step to a neighbour.
func slopes(dst, l *raster.Plane) {
	for y := range l.H {
		up, row, down, out := l.Row(max(0, y-1)), l.Row(y), l.Row(min(l.H-1, y+1)), dst.Row(y)
		for x, c := range row {
			out[x] = 0
			if c == blind {
				continue
			}
			for _, n := range [...]float32{row[max(0, x-1)], row[min(l.W-1, x+1)], up[x], down[x]} {
				if n == blind {
					out[x] = 8 // the edge of what is shown
					break
				}
				if d := n - c; d > out[x] {
					out[x] = d
				} else if -d > out[x] {
					out[x] = -d
				}
			}
		}
	}
}

// curve is a function of log2 brightness at points half an EV apart.
type curve struct {
	first float32
	v     []float32
}

func (c curve) at(x float32) float32 {
	f := max(0, min(float32(len(c.v)-1), (x-c.first)*2))
	i := min(int(f), len(c.v)-2)
	f -= float32(i)
	return c.v[i]*(1-f) + c.v[i+1]*f
}

// levels is the median difference b - a by the brightness of b, the less noisy one.
func levels(a, b *raster.Plane) curve {
	const n, steps, span = 48, 1024, 10. // differences in 1/51 EV, up to 10 EV each way
	c := curve{first: -20, v: make([]float32, n)}
	var bins [n][steps]int32
	var all [steps]int32
	for y := 0; y < a.H; y += 2 {
		ra, rb := a.Row(y), b.Row(y)
		for x := 0; x < len(ra); x += 2 {
			if ra[x] == blind || rb[x] == blind {
				continue
			}
			k := max(0, min(steps-1, int((rb[x]-ra[x]+span)*steps/(2*span))))
			i := max(0, min(n-1, int((rb[x]-c.first)*2+.5)))
			bins[i][k]++
			all[k]++
		}
	}
	median := func(h *[steps]int32) (v float32, total int32) {
		for _, k := range h {
			total += k
		}
		var sum int32
		for k, m := range h {
			if sum+m > total/2 { // within its step by proportion
				return (float32(k)+(float32(total)/2-float32(sum))/float32(m))*2*span/steps - span, total
			}
			sum += m
		}
		return 0, 0
	}
	whole, _ := median(&all)
	for i := range bins {
		c.v[i] = whole
		if m, total := median(&bins[i]); total > 100 {
			c.v[i] = m
		}
	}
	return c
}
