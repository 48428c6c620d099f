package plumb

import "math"

// frame is a crop of the corrected view in tangents: its middle and half its
// width. Its shape is the picture's.
type frame struct{ x, y, half float64 }

// inset is how far the crop stays from the picture's border, in pixels, so that
// the kernel sees real pixels.
const inset = 1.0

// inside reports whether the picture covers the frame: its edges are followed,
// the picture has no holes.
func (c *camera) inside(f frame) bool {
	tall := f.half * c.h / c.w
	const n = 12
	for i := range n + 1 {
		t := 2*float64(i)/n - 1
		for _, q := range [4][2]float64{{t, -1}, {t, 1}, {-1, t}, {1, t}} {
			x, y := c.source(f.x+q[0]*f.half, f.y+q[1]*tall)
			if !(x >= inset && y >= inset && x <= c.w-inset && y <= c.h-inset) {
				return false
			}
		}
	}
	return true
}

// largest returns the largest frame around (x, y).
func (c *camera) largest(x, y float64) frame {
	lo, hi := 0.0, 2*c.w/c.focal
	for range 24 {
		if mid := (lo + hi) / 2; c.inside(frame{x, y, mid}) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return frame{x, y, lo}
}

// crop looks for the frame that trades size against leaving the photographer's
// middle: being off by a tenth of its width costs a twentieth of its size.
func (c *camera) crop() frame {
	// The direction in which the camera looked, in the corrected view.
	fx, fy := c.axes[2].x/c.axes[2].z, c.axes[2].y/c.axes[2].z
	value := func(f frame) float64 {
		if f.half == 0 {
			return 0
		}
		off := math.Hypot(f.x-fx, f.y-fy) / (2 * f.half)
		return f.half * (1 - 5*off*off)
	}
	best := c.largest(fx, fy)
	// A pattern search: the frame's size is a smooth, one-peaked function of its
	// middle.
	for step := 0.1 * c.w / c.focal; step > 1e-4*c.w/c.focal; {
		improved := false
		for _, d := range [8][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
			x, y := best.x+d[0]*step, best.y+d[1]*step
			// As large as it would have to be: half - 5 off^2 / (4 half) is the value.
			off, must := math.Hypot(x-fx, y-fy), value(best)
			if must = (must + math.Sqrt(must*must+5*off*off)) / 2; !c.inside(frame{x, y, must}) {
				continue
			}
			if f := c.largest(x, y); value(f) > value(best) {
				best, improved = f, true
			}
		}
		if !improved {
			step /= 2
		}
	}
	return best
}

// kept is the share of the picture's area inside the frame (the shoelace formula
// on its outline).
func (c *camera) kept(f frame) float64 {
	tall := f.half * c.h / c.w
	const n = 32
	var px, py []float64
	corners := [5][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}, {-1, -1}}
	for k := range 4 {
		for i := range n {
			t := float64(i) / n
			x := corners[k][0] + t*(corners[k+1][0]-corners[k][0])
			y := corners[k][1] + t*(corners[k+1][1]-corners[k][1])
			sx, sy := c.source(f.x+x*f.half, f.y+y*tall)
			px, py = append(px, sx), append(py, sy)
		}
	}
	var area float64
	for i := range px {
		j := (i + 1) % len(px)
		area += px[i]*py[j] - px[j]*py[i]
	}
	return math.Abs(area) / 2 / (c.w * c.h)
}
