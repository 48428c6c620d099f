package dust

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// at finds the marks of one radius and where the view could show any. The middle of a
// spot, a quarter of r wide, is compared with the ring from r to 3r/2; box means stand
// for both.
func (s *search) at(ctx context.Context, k int, e *Evidence) error {
	w, h, r := e.W, e.H, radii[k]
	e.Able[k] = make([]byte, (cells(w)*cells(h)+7)/8)
	ro := ring(r)
	if min(w, h) <= 2*ro+2 {
		return nil
	}
	core, inner, outer, squares := raster.Get(w, h), raster.Get(w, h), raster.Get(w, h), raster.Get(w, h)
	inner2, outer2, bad := raster.Get(w, h), raster.Get(w, h), raster.Get(w, h)
	defer raster.Put(core, inner, outer, squares, inner2, outer2, bad)
	for i, v := range s.luma.Pix {
		squares.Pix[i] = v * v
	}
	half := max(1, r/4)
	for _, b := range []struct {
		dst, src *raster.Plane
		r        int
	}{{core, s.luma, half}, {inner, s.luma, r - 1}, {outer, s.luma, ro}, {inner2, squares, r - 1}, {outer2, squares, ro}, {bad, s.spoilt, ro}} {
		if err := raster.Box(ctx, b.dst, b.src, b.r); err != nil {
			return err
		}
	}
	in, out := float32((2*r-1)*(2*r-1)), float32((2*ro+1)*(2*ro+1))
	n, noise := out-in, float32(2*half+1)
	able, lacks := make([]bool, w*h), make([]float32, w*h)
	if err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := max(y0, ro); y < min(y1, h-ro); y++ {
			for x := ro; x < w-ro; x++ {
				i := y*w + x
				mean := (out*outer.Pix[i] - in*inner.Pix[i]) / n
				variance := (out*outer2.Pix[i]-in*inner2.Pix[i])/n - mean*mean
				if variance > smooth*smooth || mean < -20 || bad.Pix[i] > 1e-4 {
					continue
				}
				able[i] = true
				lack := core.Pix[i] - mean
				rough := float32(math.Sqrt(float64(max(0, variance))))
				if lack < -faintest && lack < -3*rough/noise && lack < -0.8*rough && lack > -2 {
					lacks[i] = lack
				}
			}
		}
	}); err != nil {
		return err
	}
	e.vouch(k, able)
	for y := ro; y < h-ro; y++ {
		for x := ro; x < w-ro; x++ {
			if v := lacks[y*w+x]; v < 0 && lowest(lacks, w, x, y, r/2+1) {
				if m, ok := s.mark(x, y, k, v); ok {
					e.Marks = append(e.Marks, m)
				}
			}
		}
	}
	return ctx.Err()
}

func cells(n int) int { return (n + cell - 1) / cell }

// vouch sets the bits of cells in which every place could show a spot.
func (e *Evidence) vouch(k int, able []bool) {
	for j := range cells(e.H) {
	next:
		for i := range cells(e.W) {
			for y := j * cell; y < min(e.H, (j+1)*cell); y++ {
				for x := i * cell; x < min(e.W, (i+1)*cell); x++ {
					if !able[y*e.W+x] {
						continue next
					}
				}
			}
			bit := j*cells(e.W) + i
			e.Able[k][bit/8] |= 1 << (bit % 8)
		}
	}
}

// able reports whether the view would show a spot at a place.
func (e *Evidence) able(k int, x, y float64) bool {
	bit := int(y)/cell*cells(e.W) + int(x)/cell
	return bit >= 0 && bit/8 < len(e.Able[k]) && e.Able[k][bit/8]>>(bit%8)&1 == 1
}

// lowest reports whether no place within r is darker, or as dark and earlier.
func lowest(lacks []float32, w, x, y, r int) bool {
	v := lacks[y*w+x]
	for j := max(0, y-r); j <= min(len(lacks)/w-1, y+r); j++ {
		for i := max(0, x-r); i <= min(w-1, x+r); i++ {
			if u := lacks[j*w+i]; u < v || u == v && (j < y || j == y && i < x) {
				return false
			}
		}
	}
	return true
}

// mark measures a spot: its middle is the centre of what is missing, and what is
// missing at each distance is taken against the plane through the ring around it. It
// is none when it is an edge rather than a spot.
func (s *search) mark(x, y, k int, lack float32) (Mark, bool) {
	r := radii[k]
	m := Mark{X: float32(x) + .5, Y: float32(y) + .5, R: k, Lack: milli(float64(lack))}
	cx, cy := float64(m.X), float64(m.Y)
	for range 2 {
		level := plane(s.luma, cx, cy, r)
		var sum, sx, sy float64
		around(s.luma, cx, cy, float64(r), func(px, py int, d float64) {
			if v := level(px, py) - float64(s.luma.Row(py)[px]); v > 0 && d < float64(r)*.75 {
				sum, sx, sy = sum+v, sx+v*(float64(px)+.5), sy+v*(float64(py)+.5)
			}
		})
		if sum <= 0 {
			return m, false
		}
		cx, cy = sx/sum, sy/sum
	}
	if math.Hypot(cx-float64(m.X), cy-float64(m.Y)) > float64(r)/2 {
		return m, false
	}
	m.X, m.Y = float32(math.Round(cx*100)/100), float32(math.Round(cy*100)/100)
	shade := profile(s.luma, cx, cy, r)
	for _, v := range shade {
		m.Shade = append(m.Shade, milli(v))
	}
	m.Tint = milli(profile(s.red, cx, cy, r)[0] - profile(s.blue, cx, cy, r)[0])
	return m, shade[0] < -faintest/2
}

func milli(ev float64) int { return int(math.Round(1000 * ev)) }

// profile is what is missing at each whole distance from 0 to r.
func profile(p *raster.Plane, cx, cy float64, r int) []float64 {
	level := plane(p, cx, cy, r)
	sum, n := make([]float64, r+1), make([]float64, r+1)
	around(p, cx, cy, float64(r)+.5, func(x, y int, d float64) {
		// A pixel counts for the two whole distances beside it.
		b, f := int(d), d-math.Floor(d)
		v := float64(p.Row(y)[x]) - level(x, y)
		for i, w := range [2]float64{1 - f, f} {
			if b+i <= r {
				sum[b+i] += w * v
				n[b+i] += w
			}
		}
	})
	for b := range sum {
		if n[b] > 0 {
			sum[b] /= n[b]
		}
	}
	return sum
}

// plane fits light that falls off evenly to the ring around a place.
func plane(p *raster.Plane, cx, cy float64, r int) func(x, y int) float64 {
	var n, sx, sy, sv, sxx, syy, sxy, sxv, syv float64
	around(p, cx, cy, float64(ring(r)), func(x, y int, d float64) {
		if d < float64(r) {
			return
		}
		dx, dy, v := float64(x)+.5-cx, float64(y)+.5-cy, float64(p.Row(y)[x])
		n++
		sx, sy, sv, sxx, syy, sxy, sxv, syv = sx+dx, sy+dy, sv+v, sxx+dx*dx, syy+dy*dy, sxy+dx*dy, sxv+dx*v, syv+dy*v
	})
	if n == 0 {
		return func(int, int) float64 { return 0 }
	}
	mx, my, mv := sx/n, sy/n, sv/n
	sxx, syy, sxy, sxv, syv = sxx-n*mx*mx, syy-n*my*my, sxy-n*mx*my, sxv-n*mx*mv, syv-n*my*mv
	det := sxx*syy - sxy*sxy
	if det <= 0 {
		return func(int, int) float64 { return mv }
	}
	gx, gy := (sxv*syy-syv*sxy)/det, (syv*sxx-sxv*sxy)/det
	return func(x, y int) float64 {
		return mv + gx*(float64(x)+.5-cx-mx) + gy*(float64(y)+.5-cy-my)
	}
}

// around calls fn for the pixels within a distance of a place.
func around(p *raster.Plane, cx, cy, within float64, fn func(x, y int, d float64)) {
	for y := max(0, int(cy-within)); y < min(p.H, int(cy+within)+1); y++ {
		for x := max(0, int(cx-within)); x < min(p.W, int(cx+within)+1); x++ {
			if d := math.Hypot(float64(x)+.5-cx, float64(y)+.5-cy); d <= within {
				fn(x, y, d)
			}
		}
	}
}
