package check

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// The width of edges tells sharpness without a second picture. An edge that the lens
// blurred by a Gaussian of standard deviation s has, after a further known blur a, a
// steepest slope in proportion to 1/sqrt(s^2 + a^2); the ratio of the slopes after two
// known blurs gives s, whatever the edge's contrast (the idea of Zhuo & Sim, "Defocus
// map estimation from a single image", Pattern Recognition 44, 2011). It is measured
// in tiles, on edges across and along apart, because a shaken camera blurs one way.

// tilesAcross is the number of tiles along the long edge.
const tilesAcross = 14

// sharpness is the blur of a frame by tile: the standard deviation of the point spread
// in full-size pixels, of upright edges and of level ones; 0 where there are too few
// edges to tell.
type sharpness struct {
	cols, rows int
	across     []float32 // blur from side to side, seen at upright edges
	along      []float32 // blur up and down, seen at level edges
}

const (
	fewEdges  = 10  // edge points a tile must have
	edgeNoise = 7   // an edge's slope against the noise of a slope
	leastEdge = .02 // and in square roots of full scale
	// Variances of the two blurs in half-size pixels: binomial kernels (1/2 each time
	// [1 2 1]/4 is applied) and the central difference (1/3).
	narrowVar = 0.5 + 1./3
	wideVar   = 2.5 + 1./3
)

func mosaicSharpness(ctx context.Context, m *rawfile.Mosaic, n noise) (sharpness, error) {
	w, h := m.W/2, m.H/2
	x1, x2 := 0, 1
	if m.CFA[0][0] != 1 {
		x1, x2 = 1, 0
	}
	b1, b2 := m.Black[0][x1], m.Black[1][x2]
	k1, k2 := 0.5/(m.White-b1), 0.5/(m.White-b2)
	row := func(dst []float32, x0, y int) {
		r1, r2 := m.Pix[2*y*m.W+2*x0:], m.Pix[(2*y+1)*m.W+2*x0:]
		for x := range dst {
			dst[x] = root((float32(r1[2*x+x1])-b1)*k1 + (float32(r2[2*x+x2])-b2)*k2)
		}
	}
	// The square root makes shot noise the same everywhere: var = s/4, for two greens.
	sigma := math.Sqrt((n.s + n.o/0.05) / 8)
	return measureSharpness(ctx, w, h, 2, sigma, row)
}

func rgbSharpness(ctx context.Context, src *raster.RGB, coded bool, n noise) (sharpness, error) {
	sigma := 1.5 / 255 // 8-bit codes with some noise
	if !coded {
		sigma = math.Sqrt((n.s + n.o/0.05) / 4)
	}
	row := func(dst []float32, x0, y int) {
		copy(dst, src[1].Row(y)[x0:])
		if !coded {
			for i, v := range dst {
				dst[i] = root(v)
			}
		}
	}
	return measureSharpness(ctx, src.W(), src.H(), 1, sigma, row)
}

func root(v float32) float32 {
	if v <= 0 {
		return 0
	}
	return float32(math.Sqrt(float64(v)))
}

// measureSharpness looks at the middle of every tile of a picture of w x h, which row
// hands out; scale is the full-size pixels in one of its.
func measureSharpness(ctx context.Context, w, h, scale int, sigma float64, row func(dst []float32, x0, y int)) (sharpness, error) {
	size := max(16, max(w, h)/tilesAcross)
	s := sharpness{cols: w / size, rows: h / size}
	n := s.cols * s.rows
	s.across, s.along = make([]float32, n), make([]float32, n)
	side := min(size, 104) // a part of a tile is enough
	err := raster.BandsOf(ctx, n, 1, func(i, _ int) {
		p := raster.Get(side, side)
		defer raster.Put(p)
		x0, y0 := i%s.cols*size+(size-side)/2, i/s.cols*size+(size-side)/2
		for y := range side {
			row(p.Row(y), x0, y0+y)
		}
		a, b := edgeBlur(p, max(leastEdge, edgeNoise*sigma*0.35))
		s.across[i], s.along[i] = a*float32(scale), b*float32(scale)
	})
	return s, err
}

// edgeBlur returns the blur of a tile in its own pixels at upright and at level edges.
func edgeBlur(p *raster.Plane, least float64) (across, along float32) {
	narrow, wide := p.Clone(), p.Clone()
	binomial(narrow)
	for range 5 {
		binomial(wide)
	}
	var up, level []float64
	const edge = 6
	square := float32(least * least)
	for y := edge; y < p.H-edge; y++ {
		above, row, below := narrow.Row(y-1), narrow.Row(y), narrow.Row(y+1)
		for x := edge; x < p.W-edge; x++ {
			gx, gy := (row[x+1]-row[x-1])/2, (below[x]-above[x])/2
			g := gx*gx + gy*gy
			if g < square || outOfRange(p, x, y) {
				continue
			}
			upright := gx*gx > 4*gy*gy
			if !upright && gy*gy < 4*gx*gx || !crest(narrow, x, y, upright, g) {
				continue
			}
			r := float64(g / max(1e-12, steepness(wide, x, y)))
			v := 16.0
			if r > 1.05 {
				v = max(0, (wideVar-r*narrowVar)/(r-1))
			}
			if upright {
				up = append(up, v)
			} else {
				level = append(level, v)
			}
		}
	}
	return typicalBlur(up), typicalBlur(level)
}

// typicalBlur is the lower third: edges of shadows and of round things are soft by
// themselves.
func typicalBlur(v []float64) float32 {
	if len(v) < fewEdges {
		return 0
	}
	slices.Sort(v)
	return float32(math.Sqrt(math.Max(0.01, v[len(v)/3])))
}

// outOfRange is true near black and near clipping, where edges look sharper than they
// are.
func outOfRange(p *raster.Plane, x, y int) bool {
	for _, d := range [...]int{-3, 0, 3} {
		if v := p.Row(y)[x+d]; v < .08 || v > .93 {
			return true
		}
		if v := p.Row(y + d)[x]; v < .08 || v > .93 {
			return true
		}
	}
	return false
}

// steepness is the square of the slope at a sample.
func steepness(p *raster.Plane, x, y int) float32 {
	r := p.Row(y)
	gx, gy := (r[x+1]-r[x-1])/2, (p.Row(y + 1)[x]-p.Row(y - 1)[x])/2
	return gx*gx + gy*gy
}

// crest is true where the slope, whose square is g, is steepest along its own
// direction, and nothing else of its strength lies within four pixels: a thin line is no
// edge.
func crest(p *raster.Plane, x, y int, upright bool, g float32) bool {
	for d := -4; d <= 4; d++ {
		u, v := x+d, y
		if !upright {
			u, v = x, y+d
		}
		other := steepness(p, u, v)
		if d >= -2 && d <= 2 && other > g || (d < -2 || d > 2) && other > 0.64*g {
			return false
		}
	}
	return true
}

// binomial blurs p in place with [1 2 1]/4 both ways.
func binomial(p *raster.Plane) {
	for y := range p.H {
		r := p.Row(y)
		last := r[0]
		for x := 0; x+1 < len(r); x++ {
			v := r[x]
			r[x] = (last + 2*v + r[x+1]) / 4
			last = v
		}
	}
	before := append([]float32(nil), p.Row(0)...)
	keep := make([]float32, p.W)
	for y := 0; y+1 < p.H; y++ {
		r, next := p.Row(y), p.Row(y+1)
		copy(keep, r)
		for x := range r {
			r[x] = (before[x] + 2*r[x] + next[x]) / 4
		}
		before, keep = keep, before
	}
}
