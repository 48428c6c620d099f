package removal

import (
	"context"
	"fmt"
	"math"

	"mullion/internal/raster"
)

// softCells is how many means stand for the shorter side of a softened region.
const softCells = 3

// Soften blurs what the mask covers, in place, so that it can't be brought back: the
// region is reduced to a few means, three along its shorter side, each rounded to one
// of 64 steps, and drawn again from those alone. What is a face or a text in the
// picture is not in the result. It returns the number of pixels written.
//
// One call softens one region; separate things take separate masks.
func Soften(ctx context.Context, img *raster.RGB, mask *raster.Plane) (int, error) {
	if mask.W != img.W() || mask.H != img.H() {
		return 0, fmt.Errorf("removal: a mask of %d x %d pixels for a picture of %d x %d", mask.W, mask.H, img.W(), img.H())
	}
	b := bounds(mask)
	if b.empty() {
		return 0, ctx.Err()
	}
	// Cells of at least a hundredth of the picture: a small plate far away keeps
	// fewer still.
	cell := max(float64(min(b.w(), b.h()))/softCells, float64(max(mask.W, mask.H))/100)
	cols, rows := max(1, int(math.Round(float64(b.w())/cell))), max(1, int(math.Round(float64(b.h())/cell)))
	pixels := 0
	for _, p := range img {
		means := cellMeans(p, mask, b, cols, rows)
		pixels = drawCells(p, mask, b, means, cols, rows)
	}
	return pixels, ctx.Err()
}

// cellMeans are the rounded means of the masked pixels of each cell; a cell without
// any has the mean of all.
func cellMeans(p, mask *raster.Plane, b box, cols, rows int) []float32 {
	sums, counts := make([]float64, cols*rows), make([]float64, cols*rows)
	var all, n float64
	for y := b.y0; y < b.y1; y++ {
		row, m := p.Row(y), mask.Row(y)
		for x := b.x0; x < b.x1; x++ {
			if m[x] >= painted {
				k := (y-b.y0)*rows/b.h()*cols + (x-b.x0)*cols/b.w()
				sums[k] += float64(row[x])
				counts[k]++
				all += float64(row[x])
				n++
			}
		}
	}
	out := make([]float32, cols*rows)
	for k := range out {
		v := all / n
		if counts[k] > 0 {
			v = sums[k] / counts[k]
		}
		// 64 steps of equal lightness, about (its square root in linear light).
		root := math.Round(math.Sqrt(max(0, v))*63) / 63
		out[k] = float32(root * root)
	}
	return out
}

// drawCells draws the region from the means, smoothly from middle to middle.
func drawCells(p, mask *raster.Plane, b box, means []float32, cols, rows int) int {
	n := 0
	at := func(i, j int) float32 { return means[min(max(j, 0), rows-1)*cols+min(max(i, 0), cols-1)] }
	for y := b.y0; y < b.y1; y++ {
		fy := (float64(y-b.y0)+0.5)*float64(rows)/float64(b.h()) - 0.5
		j := int(math.Floor(fy))
		t := ease(fy - float64(j))
		row, m := p.Row(y), mask.Row(y)
		for x := b.x0; x < b.x1; x++ {
			if m[x] < painted {
				continue
			}
			fx := (float64(x-b.x0)+0.5)*float64(cols)/float64(b.w()) - 0.5
			i := int(math.Floor(fx))
			u := ease(fx - float64(i))
			row[x] = (at(i, j)*(1-u)+at(i+1, j)*u)*(1-t) + (at(i, j+1)*(1-u)+at(i+1, j+1)*u)*t
			n++
		}
	}
	return n
}

// ease is the cubic that starts and ends level.
func ease(t float64) float32 { return float32(t * t * (3 - 2*t)) }
