package tone

import (
	"context"
	"math"

	"mullion/internal/raster"
	"mullion/window"
)

// black keeps the logarithm finite, 24 stops under the unit.
const black = 1. / (1 << 24)

// scene is the picture at reduced size.
type scene struct {
	w, h int
	log  *raster.Plane // log2 of luminance
	win  *raster.Plane // window coverage, or nil
	base *raster.Plane // the level of a place's surroundings
	wide *raster.Plane // what the view outside looks like without texture, or nil
	mean float64       // of log over the view outside
	hist []float64     // of log over the view outside, see windowStart

	octave int // how often the scene would have to be doubled to come to the size of a kept picture's
}

func (s *scene) release() { raster.Put(s.log, s.win, s.base, s.wide) }

func reduce(ctx context.Context, img *raster.RGB, win *window.Map, long int) (*scene, error) {
	w, h := fit(img.W(), img.H(), long)
	s := &scene{w: w, h: h, octave: octaves(min(int(Full), max(img.W(), img.H())), max(w, h))}
	y, err := shrinkLog(ctx, img, w, h)
	if err != nil {
		return nil, err
	}
	s.log = y
	if win == nil || len(win.Regions) == 0 {
		return s, nil
	}
	if win.Coverage.W != img.W() || win.Coverage.H != img.H() {
		return nil, ErrSize
	}
	if s.win, err = raster.Shrink(ctx, win.Coverage, w, h); err != nil {
		return nil, err
	}
	return s, s.lookOut(ctx)
}

func octaves(from, to int) int {
	return max(0, int(math.Round(math.Log2(float64(from)/float64(to)))))
}

// smaller is the scene four times smaller.
func (s *scene) smaller(ctx context.Context) (*scene, error) {
	w, h := max(1, s.w/4), max(1, s.h/4)
	q := &scene{w: w, h: h, mean: s.mean, hist: s.hist, octave: s.octave + 2}
	for _, p := range []struct {
		to   **raster.Plane
		from *raster.Plane
	}{{&q.log, s.log}, {&q.win, s.win}, {&q.base, s.base}, {&q.wide, s.wide}} {
		var err error
		if *p.to, err = raster.Shrink(ctx, p.from, w, h); err != nil {
			return nil, err
		}
	}
	return q, nil
}

// fit scales w x h down to a long side of at most long.
func fit(w, h, long int) (int, int) {
	if max(w, h) <= long {
		return w, h
	}
	f := float64(long) / float64(max(w, h))
	return max(1, int(float64(w)*f+0.5)), max(1, int(float64(h)*f+0.5))
}

// shrinkLog averages BT.2020 luminance (BT.2020-2 table 4) over the area of each
// reduced pixel and takes its log2. Bands of reduced rows are summed straight from the
// picture, so that it is read once.
func shrinkLog(ctx context.Context, img *raster.RGB, w, h int) (*raster.Plane, error) {
	out := raster.Get(w, h)
	W, H := img.W(), img.H()
	cols := newAreas(W, w)
	err := raster.BandsOf(ctx, h, 8, func(y0, y1 int) {
		sum := make([]float32, W)
		line := make([]float32, W)
		for y := y0; y < y1; y++ {
			clear(sum)
			a, b := float64(y)*float64(H)/float64(h), float64(y+1)*float64(H)/float64(h)
			for j := int(a); j < H && float64(j) < b; j++ {
				k := float32(min(b, float64(j+1)) - max(a, float64(j)))
				luminanceRow(line, img, j)
				for x := range sum {
					sum[x] += k * line[x]
				}
			}
			row := out.Row(y)
			cols.mean(row, sum, float32(1/(b-a)))
			for x, v := range row {
				row[x] = log2(v)
			}
		}
	})
	return out, err
}

func luminanceRow(dst []float32, img *raster.RGB, y int) {
	r, g, b := img[0].Row(y)[:len(dst)], img[1].Row(y)[:len(dst)], img[2].Row(y)[:len(dst)]
	for x := range dst {
		v := 0.2627*r[x] + 0.6780*g[x] + 0.0593*b[x]
		if v != v || v < 0 {
			v = 0
		}
		dst[x] = v
	}
}

// areas are the samples that each sample of a reduced row covers: from its first on, as
// many as have a weight.
type areas struct {
	first  []int32
	from   []int32 // where the weights of a sample begin; one more
	weight []float32
	part   float32 // how many it covers
}

func newAreas(from, to int) areas {
	f := float64(from) / float64(to)
	a := areas{part: float32(f)}
	for x := range to {
		lo, hi := float64(x)*f, float64(x+1)*f
		a.first, a.from = append(a.first, int32(lo)), append(a.from, int32(len(a.weight)))
		for j := int(lo); j < from && float64(j) < hi; j++ {
			a.weight = append(a.weight, float32(min(hi, float64(j+1))-max(lo, float64(j))))
		}
	}
	a.from = append(a.from, int32(len(a.weight)))
	return a
}

// mean writes the means of what each sample covers, times scale.
func (a areas) mean(dst, src []float32, scale float32) {
	first, from := a.first[:len(dst)], a.from[:len(dst)+1]
	for x := range dst {
		w := a.weight[from[x]:from[x+1]]
		s := src[first[x]:][:len(w)]
		var sum float32
		for i, v := range w {
			sum += s[i] * v
		}
		dst[x] = sum * scale / a.part
	}
}

// log2 to 0.0002 EV: the exponent from the bits, the mantissa by the series of
// atanh around sqrt 2.
func log2(x float32) float32 {
	if !(x > black) {
		x = black
	}
	u := math.Float32bits(x)
	e := float32(int32(u>>23) - 127)
	m := math.Float32frombits(u&0x7fffff | 0x3f800000)
	t := (m - 1.41421356) / (m + 1.41421356)
	t2 := t * t
	return e + 0.5 + t*(2.8853901+t2*(0.96179669+t2*0.57707802))
}

// exp2 to 0.01 %: the integer part into the exponent, the rest by a polynomial.
func exp2(x float32) float32 {
	if x < -60 {
		return 0
	}
	if x > 60 {
		x = 60
	}
	n := int32(x + 1024)
	f := x - float32(n-1024)
	p := 1 + f*(0.6931472+f*(0.2402265+f*(0.0555041+f*(0.0096181+f*0.0013333))))
	return math.Float32frombits(uint32(n-1024+127)<<23) * p
}
