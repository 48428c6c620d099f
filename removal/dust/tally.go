package dust

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// tally counts, for every place, the views that could show a spot there and those
// that do, at one size.
type tally struct {
	w, h       int
	able, seen []uint8
	sum        []float32 // of what the views that show it lack, EV
}

func newTally(w, h int) *tally {
	return &tally{w: w, h: h, able: make([]uint8, w*h), seen: make([]uint8, w*h), sum: make([]float32, w*h)}
}

// candidate is a place where the views agree.
type candidate struct {
	x, y, r int
	mean    float32 // EV against the ring, negative
}

// add counts one view. The middle of a spot, a quarter of r wide, is compared with
// the ring from r to 3r/2; box means stand for both.
func (t *tally) add(ctx context.Context, p *raster.Plane, r int) error {
	core, inner, outer, squares := raster.Get(t.w, t.h), raster.Get(t.w, t.h), raster.Get(t.w, t.h), raster.Get(t.w, t.h)
	inner2, outer2 := raster.Get(t.w, t.h), raster.Get(t.w, t.h)
	defer raster.Put(core, inner, outer, squares, inner2, outer2)
	for i, v := range p.Pix {
		squares.Pix[i] = v * v
	}
	ro := r + max(2, r/2)
	for _, b := range []struct {
		dst, src *raster.Plane
		r        int
	}{{core, p, max(1, r/4)}, {inner, p, r - 1}, {outer, p, ro}, {inner2, squares, r - 1}, {outer2, squares, ro}} {
		if err := raster.Box(ctx, b.dst, b.src, b.r); err != nil {
			return err
		}
	}
	in, out := float32((2*r-1)*(2*r-1)), float32((2*ro+1)*(2*ro+1))
	n := out - in
	noise := float32(math.Sqrt(float64((2*max(1, r/4) + 1) * (2*max(1, r/4) + 1))))
	return raster.Bands(ctx, t.h, func(y0, y1 int) {
		for y := max(y0, ro); y < min(y1, t.h-ro); y++ {
			for x := ro; x < t.w-ro; x++ {
				i := y*t.w + x
				mean := (out*outer.Pix[i] - in*inner.Pix[i]) / n
				variance := (out*outer2.Pix[i]-in*inner2.Pix[i])/n - mean*mean
				if variance > smooth*smooth || mean < -20 {
					continue
				}
				t.able[i]++
				lack := core.Pix[i] - mean
				rough := float32(math.Sqrt(float64(max(0, variance))))
				if lack < -faintest && lack < -3*rough/noise && lack < -0.8*rough && lack > -2 {
					t.seen[i]++
					t.sum[i] += lack
				}
			}
		}
	})
}

// peaks are the deepest places among their neighbours that enough views show and
// none, or one in five, that could show it lacks.
func (t *tally) peaks(r int) []candidate {
	value := func(x, y int) float32 {
		i := y*t.w + x
		if t.seen[i] < fewest || 5*int(t.able[i]-t.seen[i]) > int(t.able[i]) {
			return 0
		}
		return t.sum[i] / float32(t.seen[i])
	}
	var out []candidate
	for y := r; y < t.h-r; y++ {
		for x := r; x < t.w-r; x++ {
			v := value(x, y)
			if v < 0 && t.lowest(value, x, y, r/2+1, v) {
				out = append(out, candidate{x, y, r, v})
			}
		}
	}
	return out
}

func (t *tally) lowest(value func(x, y int) float32, x, y, r int, v float32) bool {
	for j := max(0, y-r); j <= min(t.h-1, y+r); j++ {
		for i := max(0, x-r); i <= min(t.w-1, x+r); i++ {
			if u := value(i, j); u < v || u == v && (j < y || j == y && i < x) {
				return false
			}
		}
	}
	return true
}
