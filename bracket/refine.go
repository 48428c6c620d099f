package bracket

import (
	"cmp"
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// point is one place of the template where the picture has structure.
type point struct {
	x, y   float32
	v      float32 // log2 there
	gx, gy float32 // gradient of the logarithm
	inv    float32 // variance of the logarithm
}

// maxPoints bounds the work: a shift is known to a hundredth of a sample long
// before all of them are used.
const maxPoints = 60000

// gather picks the samples with the strongest gradients in every tile of the
// template, so that all parts of the picture have a say.
func gather(l level) []point {
	w, h := l.log.W, l.log.H
	const tiles = 24
	tw, th := max(4, (w+tiles-1)/tiles), max(4, (h+tiles-1)/tiles)
	per := max(8, maxPoints/(((w+tw-1)/tw)*((h+th-1)/th)))
	var all, tile []point
	for y0 := 2; y0 < h-2; y0 += th {
		for x0 := 2; x0 < w-2; x0 += tw {
			tile = gatherTile(tile[:0], l, x0, y0, min(w-2, x0+tw), min(h-2, y0+th))
			if len(tile) > per {
				strongest(tile)
				tile = tile[:per]
			}
			all = append(all, tile...)
		}
	}
	return all
}

func gatherTile(out []point, l level, x0, y0, x1, y1 int) []point {
	for y := y0; y < y1; y++ {
		up, mid, down := l.log.Row(y-1), l.log.Row(y), l.log.Row(y+1)
		tu, tr, td := l.trust.Row(y-1), l.trust.Row(y), l.trust.Row(y+1)
		for x := x0; x < x1; x++ {
			if tr[x] <= 0 || tr[x-1] <= 0 || tr[x+1] <= 0 || tu[x] <= 0 || td[x] <= 0 {
				continue
			}
			gx, gy := (mid[x+1]-mid[x-1])/2, (down[x]-up[x])/2
			inv := 1 / tr[x]
			if g := gx*gx + gy*gy; g > 2*inv {
				out = append(out, point{float32(x), float32(y), mid[x], gx, gy, inv})
			}
		}
	}
	return out
}

// strongest sorts points by their gradient over their noise, largest first.
func strongest(p []point) {
	slices.SortFunc(p, func(a, b point) int {
		return cmp.Compare((b.gx*b.gx+b.gy*b.gy)*a.inv, (a.gx*a.gx+a.gy*a.gy)*b.inv)
	})
}

// model says which parameters a refinement is free to change.
type model int

const (
	shiftOnly model = 2
	rigid     model = 3 // shift and rotation
	affine    model = 6
)

// fit is how well a refinement ended.
type fit struct {
	points  int     // structure seen by both frames
	inliers float64 // share of it that agrees
	peak    float64 // how much worse the match is a few samples away: 0 not at all, 1 beyond compare
	sigma   float64 // expected error of the shift in samples of the level
	scale   float64 // size of the differences in units of what noise explains
}

// refine improves a warp by Gauss-Newton steps on the difference of the logarithms
// (Lucas & Kanade 1981 in the forward-additive form of Baker & Matthews, IJCV 56,
// 2004) with robust weights. What the frames differ by in exposure, flare or
// response is a smooth function of brightness; it is measured in every step and
// taken off.
func refine(ctx context.Context, pts []point, b level, t warp, n model, steps int) (warp, fit) {
	var f fit
	res := make([]residual, 0, len(pts))
	for i := 0; i < steps && ctx.Err() == nil; i++ {
		res = sample(res[:0], pts, b, t)
		f.points = len(res)
		if len(res) < 40 {
			return t, f
		}
		scale := levelOut(res)
		step, g := solve(res, t, n, scale)
		f.inliers, f.sigma, f.scale = g.inliers, g.sigma, scale
		t = step
		if g.moved < 0.002 && i > 0 {
			break
		}
	}
	return t, f
}

// peakAt is how far away, in samples, a match is compared with itself.
const peakAt = 3

// peak measures how sharply the match at t stands out: one minus its cost over the
// mean cost a few samples to each side. A false match has no peak.
func peak(pts []point, b level, t warp) float64 {
	if n := 1 + len(pts)/12000; n > 1 {
		var few []point
		for i := 0; i < len(pts); i += n {
			few = append(few, pts[i])
		}
		pts = few
	}
	at := func(dx, dy float64) float64 {
		s := t
		s.tx, s.ty = s.tx+dx, s.ty+dy
		return cost(pts, b, s)
	}
	away := (at(peakAt, 0) + at(-peakAt, 0) + at(0, peakAt) + at(0, -peakAt)) / 4
	if away <= 0 {
		return 0
	}
	return 1 - at(0, 0)/away
}

// cost is the mean robust cost of a match, 0 perfect to 1.
func cost(pts []point, b level, t warp) float64 {
	res := sample(nil, pts, b, t)
	if len(res) < 40 {
		return 1
	}
	levelOut(res)
	var sum float64
	for _, r := range res {
		q := float64(r.r * r.r / (4 * r.v))
		sum += q / (1 + q)
	}
	return sum / float64(len(res))
}

// residual is what one point says at the current warp.
type residual struct {
	p *point
	u float32 // the frame's log2 there
	r float32 // difference, then with the tone curve taken off
	v float32 // variance of the difference
	w float32 // weight
}

func sample(out []residual, pts []point, b level, t warp) []residual {
	w, h := b.log.W, b.log.H
	for i := range pts {
		p := &pts[i]
		x, y := t.at(float64(p.x), float64(p.y))
		if x < 1 || y < 1 || x >= float64(w-2) || y >= float64(h-2) {
			continue
		}
		ix, iy := int(x), int(y)
		nx, ny := int(x+0.5), int(y+0.5)
		tr := b.trust.Pix[ny*b.trust.Stride+nx]
		if tr <= 0 || trustless(b.trust, ix, iy) {
			continue
		}
		u := cubic(b.log, ix, iy, float32(x-float64(ix)), float32(y-float64(iy)))
		out = append(out, residual{p: p, u: u, r: u - p.v, v: p.inv + 1/tr})
	}
	return out
}

func trustless(p *raster.Plane, x, y int) bool {
	o := y*p.Stride + x
	return p.Pix[o] <= 0 || p.Pix[o+1] <= 0 || p.Pix[o+p.Stride] <= 0 || p.Pix[o+p.Stride+1] <= 0
}

// cubic samples a plane at (x+fx, y+fy) with the Catmull-Rom kernel. The 4 x 4
// neighbourhood must lie inside.
func cubic(p *raster.Plane, x, y int, fx, fy float32) float32 {
	kx, ky := catmull(fx), catmull(fy)
	var sum float32
	o := (y-1)*p.Stride + x - 1
	for j := range 4 {
		s := p.Pix[o : o+4 : o+4]
		sum += ky[j] * (kx[0]*s[0] + kx[1]*s[1] + kx[2]*s[2] + kx[3]*s[3])
		o += p.Stride
	}
	return sum
}

func catmull(f float32) [4]float32 {
	f2 := f * f
	f3 := f2 * f
	return [4]float32{
		-0.5*f3 + f2 - 0.5*f,
		1.5*f3 - 2.5*f2 + 1,
		-1.5*f3 + 2*f2 + 0.5*f,
		0.5*f3 - 0.5*f2,
	}
}

// levelOut takes the median difference of every class of brightness off and
// returns the robust scale of what is left, in units of the expected deviation.
func levelOut(res []residual) float64 {
	const classes = 24
	lo, hi := res[0].p.v, res[0].p.v
	for _, r := range res {
		lo, hi = min(lo, r.p.v), max(hi, r.p.v)
	}
	width := max(0.25, (hi-lo)/classes*1.0001)
	var bins [classes][]float32
	var all []float32
	skip := 1 + len(res)/8000
	for i := 0; i < len(res); i += skip {
		r := &res[i]
		// Half-way brightness: the mean of both frames, so that noise in one does not
		// tilt the curve.
		b := int((r.p.v - lo) / width)
		bins[b] = append(bins[b], r.r)
		all = append(all, r.r)
	}
	whole := median32(all)
	var curve [classes]float32
	for i := range bins {
		curve[i] = whole
		if len(bins[i]) > 30 {
			curve[i] = median32(bins[i])
		}
	}
	dev := make([]float32, 0, len(all))
	for i := range res {
		r := &res[i]
		f := (r.p.v-lo)/width - 0.5
		k := max(0, min(classes-2, int(f)))
		q := max(0, min(1, f-float32(k)))
		r.r -= curve[k]*(1-q) + curve[k+1]*q
		if i%skip == 0 {
			dev = append(dev, r.r*r.r/r.v)
		}
	}
	return max(0.7, math.Sqrt(float64(median32(dev))/0.455))
}

func median32(v []float32) float32 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return v[len(v)/2]
}

type stepped struct {
	inliers, sigma, moved float64
}

// solve makes one Gauss-Newton step. Weights fall as (1 + r^2/s^2)^-2 (Geman &
// McClure): what moved in the room has no say.
func solve(res []residual, t warp, n model, scale float64) (warp, stepped) {
	var h [6][6]float64
	var g [6]float64
	var in, chi, sum float64
	cut := float32(6 * scale * scale)
	for i := range res {
		r := &res[i]
		q := r.r * r.r / (r.v * cut)
		w := 1 / (1 + q)
		w *= w
		r.w = w / r.v
		if q < 1.5 {
			in++
		}
		wd := float64(r.w)
		chi += wd * float64(r.r*r.r)
		sum += wd
		j := jacobian(r.p, t)
		for a := range int(n) {
			wj := wd * j[a]
			g[a] += wj * float64(r.r)
			for b := a; b < int(n); b++ {
				h[a][b] += wj * j[b]
			}
		}
	}
	for a := range 6 {
		if a >= int(n) {
			h[a][a] = 1
		}
		for b := range a {
			h[a][b] = h[b][a]
		}
	}
	var s stepped
	s.inliers = in / float64(len(res))
	inv, ok := invert(h, int(n))
	if !ok {
		s.sigma = math.Inf(1)
		return t, s
	}
	var d [6]float64
	for a := range int(n) {
		for b := range int(n) {
			d[a] -= inv[a][b] * g[b]
		}
	}
	noise := max(1, chi/float64(len(res))*1.5)
	s.sigma = math.Sqrt(max(inv[0][0], inv[1][1]) * noise)
	before := t
	t = apply(t, d, n)
	s.moved = apart(before, t)
	return t, s
}

// jacobian is the change of the logarithm with the parameters: shift, rotation in
// units of the frame's half height, then the rest of the affine map.
func jacobian(p *point, t warp) [6]float64 {
	gx, gy := float64(p.gx), float64(p.gy)
	dx, dy := (float64(p.x)-t.cx)/t.cy, (float64(p.y)-t.cy)/t.cy
	return [6]float64{gx, gy, gy*dx - gx*dy, gx * dx, gy * dy, gx*dy + gy*dx}
}

func apply(t warp, d [6]float64, n model) warp {
	t.tx += d[0]
	t.ty += d[1]
	if n >= rigid {
		r, sx, sy, sh := d[2]/t.cy, 0., 0., 0.
		if n == affine {
			sx, sy, sh = d[3]/t.cy, d[4]/t.cy, d[5]/t.cy
		}
		t.a[0][0] += sx
		t.a[0][1] += sh - r
		t.a[1][0] += sh + r
		t.a[1][1] += sy
	}
	return t
}

func apart(a, b warp) float64 {
	var most float64
	for _, c := range [][2]float64{{0, 0}, {2 * a.cx, 0}, {0, 2 * a.cy}, {2 * a.cx, 2 * a.cy}} {
		x, y := a.at(c[0], c[1])
		u, v := b.at(c[0], c[1])
		most = max(most, math.Hypot(u-x, v-y))
	}
	return most
}

// invert inverts the leading n x n block of a symmetric positive matrix.
func invert(m [6][6]float64, n int) (inv [6][6]float64, ok bool) {
	for i := range n {
		inv[i][i] = 1
	}
	for c := range n {
		p := c
		for r := c; r < n; r++ {
			if math.Abs(m[r][c]) > math.Abs(m[p][c]) {
				p = r
			}
		}
		if math.Abs(m[p][c]) < 1e-9 {
			return inv, false
		}
		m[p], m[c] = m[c], m[p]
		inv[p], inv[c] = inv[c], inv[p]
		k := 1 / m[c][c]
		for j := range n {
			m[c][j] *= k
			inv[c][j] *= k
		}
		for r := range n {
			if f := m[r][c]; r != c && f != 0 {
				for j := range n {
					m[r][j] -= f * m[c][j]
					inv[r][j] -= f * inv[c][j]
				}
			}
		}
	}
	return inv, true
}
