package window

import (
	"cmp"
	"math"
	"slices"

	"mullion/internal/raster"
)

// components returns the pixels of keep, grouped by the 4-connected components
// of joined (of which keep must be a part).
func components(joined, keep []bool, w, h int) [][]int32 {
	seen := make([]bool, len(joined))
	var out [][]int32
	var stack []int32
	for start := range joined {
		if !joined[start] || seen[start] {
			continue
		}
		var part []int32
		stack = append(stack[:0], int32(start))
		seen[start] = true
		for len(stack) > 0 {
			i := int(stack[len(stack)-1])
			stack = stack[:len(stack)-1]
			if keep[i] {
				part = append(part, int32(i))
			}
			x := i % w
			push := func(j int) {
				if joined[j] && !seen[j] {
					seen[j] = true
					stack = append(stack, int32(j))
				}
			}
			if x > 0 {
				push(i - 1)
			}
			if x < w-1 {
				push(i + 1)
			}
			if i >= w {
				push(i - w)
			}
			if i < w*(h-1) {
				push(i + w)
			}
		}
		if len(part) > 0 {
			out = append(out, part)
		}
	}
	return out
}

// dilate grows a mask by r pixels in a square.
func dilate(in []bool, w, h, r int) []bool {
	rows := make([]bool, len(in))
	for y := range h {
		spread(rows[y*w:(y+1)*w], in[y*w:(y+1)*w], 1, r)
	}
	out := make([]bool, len(in))
	for x := range w {
		spread(out[x:], rows[x:], w, r)
	}
	return out
}

func spread(out, in []bool, stride, r int) {
	n := (len(in) + stride - 1) / stride
	last := -r - 1
	for i := range n {
		if in[i*stride] {
			last = i
		}
		if i-last <= r {
			out[i*stride] = true
		}
	}
	last = n + r
	for i := n - 1; i >= 0; i-- {
		if in[i*stride] {
			last = i
		}
		if last-i <= r {
			out[i*stride] = true
		}
	}
}

// closeGaps dilates and erodes a 0/1 plane by r pixels.
func closeGaps(m *raster.Plane, r int) *raster.Plane {
	in := make([]bool, len(m.Pix))
	for i, v := range m.Pix {
		in[i] = v > 0
	}
	d := dilate(in, m.W, m.H, r)
	for i := range d {
		d[i] = !d[i]
	}
	e := dilate(d, m.W, m.H, r)
	out := raster.New(m.W, m.H)
	for i := range e {
		if !e[i] || in[i] {
			out.Pix[i] = 1
		}
	}
	return out
}

// cutNecks closes the bars within a region, parts it where it is narrower than
// about 2r+1 pixels, and gives every pixel to the nearest part.
func cutNecks(pix []int32, width, r int) [][]int32 {
	b := boxOf(pix, width, bridge+r+1)
	w, h := b.w, b.h
	m := raster.New(w, h)
	for _, i := range pix {
		m.Pix[b.in(i)] = 1
	}
	closed := closeGaps(m, bridge)
	out := make([]bool, len(m.Pix))
	in := make([]bool, len(m.Pix))
	for i, v := range m.Pix {
		out[i], in[i] = closed.Pix[i] == 0, v > 0
	}
	out = dilate(out, w, h, r)
	for i := range out {
		out[i] = !out[i]
	}
	cores := components(out, out, w, h)
	label := make([]int32, len(out))
	var front []int32
	n := 0
	for _, c := range cores {
		if len(c) < 12 {
			continue
		}
		n++
		for _, i := range c {
			label[i] = int32(n)
		}
		front = append(front, c...)
	}
	if n < 2 {
		return nil
	}
	for len(front) > 0 { // grow all parts at once, one pixel a round
		var next []int32
		for _, i := range front {
			x, y := int(i)%w, int(i)/w
			for _, d := range [4]point{{x - 1, y}, {x + 1, y}, {x, y - 1}, {x, y + 1}} {
				if d.x < 0 || d.y < 0 || d.x >= w || d.y >= h {
					continue
				}
				j := d.y*w + d.x
				if label[j] == 0 && closed.Pix[j] > 0 {
					label[j] = label[i]
					next = append(next, int32(j))
				}
			}
		}
		front = next
	}
	parts := make([][]int32, n)
	for _, i := range pix {
		if k := label[b.in(i)]; k > 0 {
			parts[k-1] = append(parts[k-1], i)
		}
	}
	return parts
}

// box is a part of the reduced picture with a margin, which may reach beyond it.
type box struct{ x0, y0, w, h, width int }

func boxOf(pix []int32, width, margin int) box {
	x0, y0, x1, y1 := math.MaxInt, math.MaxInt, 0, 0
	for _, i := range pix {
		x, y := int(i)%width, int(i)/width
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	return box{x0 - margin, y0 - margin, x1 - x0 + 1 + 2*margin, y1 - y0 + 1 + 2*margin, width}
}

// in is the index in the box of a pixel of the picture, and out that of one in the box.
func (b box) in(i int32) int {
	return (int(i)/b.width-b.y0)*b.w + int(i)%b.width - b.x0
}

func (b box) out(i int32) int32 {
	return (i/int32(b.w)+int32(b.y0))*int32(b.width) + i%int32(b.w) + int32(b.x0)
}

type point struct{ x, y int }

// hull returns the convex hull of the pixels (Andrew's monotone chain, 1979).
func hull(pix []int32, w int) []point {
	ps := make([]point, 0, len(pix))
	for _, i := range pix {
		ps = append(ps, point{int(i) % w, int(i) / w})
	}
	slices.SortFunc(ps, func(a, b point) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) })
	half := func(ps []point) []point {
		var out []point
		for _, p := range ps {
			for len(out) >= 2 && cross(out[len(out)-2], out[len(out)-1], p) <= 0 {
				out = out[:len(out)-1]
			}
			out = append(out, p)
		}
		return out
	}
	lower := half(ps)
	slices.Reverse(ps)
	upper := half(ps)
	if len(lower) < 2 {
		return lower
	}
	return append(lower[:len(lower)-1], upper[:len(upper)-1]...)
}

func cross(o, a, b point) int { return (a.x-o.x)*(b.y-o.y) - (a.y-o.y)*(b.x-o.x) }

// hullArea is the number of pixels the hull covers, by Pick's theorem.
func hullArea(pix []int32, w int) float64 {
	h := hull(pix, w)
	var twice, rim int
	for i, a := range h {
		b := h[(i+1)%len(h)]
		twice += a.x*b.y - a.y*b.x
		rim += gcd(abs(a.x-b.x), abs(a.y-b.y))
	}
	return float64(abs(twice)+rim)/2 + 1
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func abs(a int) int { return max(a, -a) }

func sortBySize(g []*group) {
	slices.SortFunc(g, func(a, b *group) int { return cmp.Compare(len(b.pix), len(a.pix)) })
}
