package group

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// The likeness of two frames is the agreement of their gradient directions. An
// exposure changes the size of a gradient and never its direction, as long as the
// pixels are neither black nor clipped, so frames eight stops apart still agree on
// what is an edge and which side is the bright one. A hand's shake is taken out by
// trying small shifts; somebody who moves changes few pixels.
const (
	thumbSide = 128  // pixels along the long side
	reach     = 6    // largest shift tried, in pixels: 5 % of the picture
	blackCode = 0.02 // codes below are noise
	clipCode  = 0.97 // codes above may be clipped
	flat      = 0.012
	steep     = 0.1 // gradients count no more than this, so that a window frame doesn't outvote the room
)

// sketch is what is kept of a frame's picture.
type sketch struct {
	w, h   int
	code   *raster.Plane
	dx, dy []float32 // unit gradient
	weight []float32 // 0 where the direction can't be trusted
	at     []int32   // the pixels with a weight
	mean   float64
}

func newSketch(ctx context.Context, thumb *raster.Plane) (*sketch, error) {
	scale := float64(thumbSide) / float64(max(thumb.W, thumb.H))
	w, h := max(8, int(math.Round(float64(thumb.W)*scale))), max(8, int(math.Round(float64(thumb.H)*scale)))
	resize := raster.Shrink
	if scale > 1 {
		resize = raster.Resize
	}
	code, err := resize(ctx, thumb, w, h)
	if err != nil {
		return nil, err
	}
	soft := raster.Get(w, h)
	defer raster.Put(soft)
	if err := raster.Gauss(ctx, soft, code, 1); err != nil {
		return nil, err
	}
	s := &sketch{w: w, h: h, code: code, dx: make([]float32, w*h), dy: make([]float32, w*h), weight: make([]float32, w*h)}
	sum := 0.0
	for y := range h {
		for _, v := range code.Row(y) {
			sum += float64(v)
		}
	}
	s.mean = sum / float64(w*h)
	for y := 2; y < h-2; y++ {
		s.row(y, soft)
	}
	return s, nil
}

func (s *sketch) row(y int, soft *raster.Plane) {
	up, row, down := soft.Row(y-1), soft.Row(y), soft.Row(y+1)
	for x := 2; x < s.w-2; x++ {
		if !s.usable(x, y) {
			continue
		}
		gx, gy := float64(row[x+1]-row[x-1]), float64(down[x]-up[x])
		size := math.Hypot(gx, gy)
		if size <= flat {
			continue
		}
		i := y*s.w + x
		s.dx[i], s.dy[i] = float32(gx/size), float32(gy/size)
		s.weight[i] = float32(math.Sqrt(min(size, steep)))
		s.at = append(s.at, int32(i))
	}
}

func (s *sketch) usable(x, y int) bool {
	for v := y - 1; v <= y+1; v++ {
		for _, c := range s.code.Row(v)[x-1 : x+2] {
			if c < blackCode || c > clipCode {
				return false
			}
		}
	}
	return true
}

// likeness is the outcome of a comparison.
type likeness struct {
	agree  float64 // -1..1: weighted mean cosine between gradient directions at the best shift
	pixels int     // how many pixels could be compared
	ev     float64 // brightness of the second against the first, in EV, by the common sRGB curve
}

// compareSketches tries all shifts on a grid of two pixels and then around the best.
func compareSketches(a, b *sketch) likeness {
	if abs(a.w-b.w) > 2 || abs(a.h-b.h) > 2 {
		return likeness{agree: -1, pixels: a.w * a.h}
	}
	best, bx, by := likeness{agree: -1}, 0, 0
	try := func(sx, sy, every int) {
		l := agreement(a, b, sx, sy, every)
		if l.pixels >= fewest && l.agree > best.agree {
			best, bx, by = l, sx, sy
		}
	}
	every := max(1, len(a.at)/800) // the coarse search needs no more
	for sy := -reach; sy <= reach; sy += 2 {
		for sx := -reach; sx <= reach; sx += 2 {
			try(sx, sy, every)
		}
	}
	cx, cy := bx, by
	best = likeness{agree: -1}
	for sy := cy - 1; sy <= cy+1; sy++ {
		for sx := cx - 1; sx <= cx+1; sx++ {
			try(sx, sy, 1)
		}
	}
	best.ev = brighter(a, b, bx, by)
	return best
}

// agreement compares every so-many-th pixel at one shift.
func agreement(a, b *sketch, sx, sy, every int) likeness {
	var sum, total float32
	n := 0
	for k := 0; k < len(a.at); k += every {
		i := a.at[k]
		x, y := int(i)%a.w+sx, int(i)/a.w+sy
		if x < 0 || y < 0 || x >= b.w || y >= b.h {
			continue
		}
		j := y*b.w + x
		if b.weight[j] == 0 {
			continue
		}
		w := a.weight[i] * b.weight[j]
		sum += w * (a.dx[i]*b.dx[j] + a.dy[i]*b.dy[j])
		total += w
		n++
	}
	if n == 0 {
		return likeness{}
	}
	return likeness{agree: float64(sum / total), pixels: n * every}
}

// brighter is the mean log ratio of linear values over pixels that are
// well exposed in both.
func brighter(a, b *sketch, sx, sy int) float64 {
	sum, n := 0.0, 0
	for y := max(0, -sy); y < min(a.h, b.h-sy); y++ {
		ra, rb := a.code.Row(y), b.code.Row(y+sy)
		for x := max(0, -sx); x < min(a.w, b.w-sx); x++ {
			p, q := ra[x], rb[x+sx]
			if p > 0.04 && q > 0.04 && p < 0.95 && q < 0.95 {
				sum += stops(q) - stops(p)
				n++
			}
		}
	}
	if n < fewest {
		return math.Log2((linear(float32(b.mean)) + 1e-4) / (linear(float32(a.mean)) + 1e-4))
	}
	return sum / float64(n)
}

// stopsOf is log2 of linear by code, in 1024 steps.
var stopsOf = func() (t [1025]float64) {
	for i := range t {
		t[i] = math.Log2(linear(float32(i)/1024) + 1e-6)
	}
	return t
}()

func stops(c float32) float64 { return stopsOf[int(c*1024)] }

// linear is the sRGB transfer function (IEC 61966-2-1), code to linear.
func linear(c float32) float64 {
	if c <= 0.04045 {
		return float64(c) / 12.92
	}
	return math.Pow((float64(c)+0.055)/1.055, 2.4)
}

func abs(x int) int {
	if x < 0 {
		return -x
	}
	return x
}
