package raster

import (
	"context"
	"math"
)

// taps is the weight list of one output sample: src[first:first+len(w)].
type taps struct {
	first int
	w     []float32
}

// Resize returns src resampled to w x h with a separable Lanczos-3 kernel,
// widened when shrinking so that nothing aliases. Pixel centres lie at +0.5;
// borders are clamped. The kernel overshoots: the result can leave the range of
// the source.
func Resize(ctx context.Context, src *Plane, w, h int) (*Plane, error) {
	return resample(ctx, src, lanczosTaps(src.W, w), lanczosTaps(src.H, h))
}

// Shrink returns src averaged over the exact area of each of w x h output
// samples: no overshoot and no ringing, for measuring at reduced size.
func Shrink(ctx context.Context, src *Plane, w, h int) (*Plane, error) {
	return resample(ctx, src, areaTaps(src.W, w), areaTaps(src.H, h))
}

func resample(ctx context.Context, src *Plane, tx, ty []taps) (*Plane, error) {
	w, h := len(tx), len(ty)
	tmp, dst := Get(w, src.H), Get(w, h)
	defer Put(tmp)
	if err := Bands(ctx, src.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			across(tmp.Row(y), src.Row(y), tx)
		}
	}); err != nil {
		return nil, err
	}
	err := Bands(ctx, h, func(y0, y1 int) {
		var rows [][]float32
		for y := y0; y < y1; y++ {
			rows = rows[:0]
			for i := range ty[y].w {
				rows = append(rows, tmp.Row(ty[y].first+i))
			}
			weigh(dst.Row(y), rows, ty[y].w)
		}
	})
	return dst, err
}

// across writes the samples of one row. The sums of a few taps, which are most, need no
// loop.
func across(dst, src []float32, tx []taps) {
	tx = tx[:len(dst)]
	for x := range dst {
		t := &tx[x]
		w := t.w
		s := src[t.first:][:len(w)]
		switch len(w) {
		case 2:
			dst[x] = w[0]*s[0] + w[1]*s[1]
		case 3:
			dst[x] = w[0]*s[0] + w[1]*s[1] + w[2]*s[2]
		case 4:
			dst[x] = w[0]*s[0] + w[1]*s[1] + w[2]*s[2] + w[3]*s[3]
		default:
			var sum float32
			for i, c := range w {
				sum += c * s[i]
			}
			dst[x] = sum
		}
	}
}

// Lanczos3 is the windowed sinc of half-width 3 (Duchon, J. Appl. Meteorol. 18,
// 1979) at distance x in samples.
func Lanczos3(x float64) float64 {
	if x == 0 {
		return 1
	}
	if x <= -3 || x >= 3 {
		return 0
	}
	px := math.Pi * x
	return 3 * math.Sin(px) * math.Sin(px/3) / (px * px)
}

func lanczosTaps(from, to int) []taps {
	scale := float64(from) / float64(to)
	wide := max(1, scale)
	all := make([]taps, to)
	for i := range all {
		c := (float64(i)+0.5)*scale - 0.5
		lo, hi := int(math.Ceil(c-3*wide)), int(math.Floor(c+3*wide))
		all[i] = makeTaps(from, lo, hi, func(j int) float64 { return Lanczos3((float64(j) - c) / wide) })
	}
	return all
}

func areaTaps(from, to int) []taps {
	scale := float64(from) / float64(to)
	all := make([]taps, to)
	for i := range all {
		a, b := float64(i)*scale, float64(i+1)*scale
		all[i] = makeTaps(from, int(a), int(math.Ceil(b))-1, func(j int) float64 {
			return max(0, min(b, float64(j+1))-max(a, float64(j)))
		})
	}
	return all
}

// makeTaps folds weights that fall outside the plane onto its border sample and
// makes them sum to one.
func makeTaps(n, lo, hi int, weight func(int) float64) taps {
	first, last := max(0, min(n-1, lo)), max(0, min(n-1, hi))
	w := make([]float64, last-first+1)
	var sum float64
	for j := lo; j <= hi; j++ {
		v := weight(j)
		w[max(first, min(last, j))-first] += v
		sum += v
	}
	t := taps{first, make([]float32, len(w))}
	for i := range w {
		t.w[i] = float32(w[i] / sum)
	}
	return t
}
