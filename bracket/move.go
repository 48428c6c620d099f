package bracket

import (
	"math"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// phases of the resampling kernel between two pixels.
const phases = 128

// lanczos holds the six weights of every phase, summing to one.
var lanczos = func() (t [phases + 1][6]float32) {
	for p := range t {
		f := float64(p) / phases
		var w [6]float64
		var sum float64
		for i := range w {
			w[i] = raster.Lanczos3(float64(i-2) - f)
			sum += w[i]
		}
		for i := range w {
			t[p][i] = float32(w[i] / sum)
		}
	}
	return t
}()

// overshoot is how far a moved sample may leave the range of the two it lies
// between, along rows and then along columns, as a share: about 1/12 EV. A window's
// edge is a step of 1 to 1000, of which the kernel's few per cent of ringing are many
// times the room's own light, in another place for each colour.
const overshoot = 0.06

// places are where the pixels of a part of the reference lie in a frame: u columns,
// v rows, in pixels of the frame counted from the first centre.
type places struct{ u, v *raster.Plane }

func (p places) release() { raster.Put(p.u, p.v) }

// every is how many pixels lie between two that are mapped exactly; a warp bends too
// little for the others to stray from the line between.
const every = 16

// locate maps every pixel of a part.
func (m *merger) locate(t warp, part rect) places {
	p := places{raster.Get(part.w(), part.h()), raster.Get(part.w(), part.h())}
	step := float64(m.step)
	exact := func(x, y int) (float64, float64) {
		u, v := t.at((float64(x)+0.5)/step-0.5, (float64(y)+0.5)/step-0.5)
		return (u+0.5)*step - 0.5, (v+0.5)*step - 0.5
	}
	for y := range part.h() {
		u, v := p.u.Row(y), p.v.Row(y)
		a, b := exact(part.x0, part.y0+y)
		for x := 0; x < len(u); x += every {
			n := min(every, len(u)-x)
			c, d := exact(part.x0+x+n, part.y0+y)
			du, dv := float32(c-a)/float32(n), float32(d-b)/float32(n)
			for i := range n {
				u[x+i], v[x+i] = float32(a)+float32(i)*du, float32(b)+float32(i)*dv
			}
			a, b = c, d
		}
	}
	return p
}

// bounds is the part of a frame of w x h that a resampling reads, or false when all
// of it lies outside.
func (p places) bounds(w, h int) (rect, bool) {
	loU, hiU, loV, hiV := float32(math.Inf(1)), float32(math.Inf(-1)), float32(math.Inf(1)), float32(math.Inf(-1))
	for y := range p.u.H {
		u, v := p.u.Row(y), p.v.Row(y)
		for x := range u {
			loU, hiU = min(loU, u[x]), max(hiU, u[x])
			loV, hiV = min(loV, v[x]), max(hiV, v[x])
		}
	}
	if !(hiU > -0.5 && hiV > -0.5 && loU < float32(w)-0.5 && loV < float32(h)-0.5) {
		return rect{}, false
	}
	clamp := func(v float32, n int) int { return max(0, min(n, int(math.Floor(float64(v))))) }
	return rect{clamp(loU-3, w), clamp(loV-3, h), max(1, clamp(hiU+5, w)), max(1, clamp(hiV+5, h))}, true
}

// move resamples a picture, which begins at column ax and row ay of its frame of w x
// h, to the places of a part of the reference: Lanczos-3 along rows, then along
// columns (two passes: Catmull & Smith, SIGGRAPH 1980; a hand's turns are so small
// that nothing folds). What lies outside the frame gets no trust.
func (p picture) move(to places, ax, ay, w, h int, floor bool) picture {
	out := picture{rgb: raster.GetRGB(to.u.W, to.u.H), trust: raster.Get(to.u.W, to.u.H)}
	rows := p.alongRows(to, ax, ay)
	for c := range out.rgb {
		for y := range to.v.H {
			alongColumns(out.rgb[c].Row(y), rows[c], to.v.Row(y), ay)
		}
	}
	raster.PutRGB(rows)
	if floor {
		for c := range out.rgb {
			for y := range out.rgb.H() {
				for x, v := range out.rgb[c].Row(y) {
					if v < 0 {
						out.rgb[c].Row(y)[x] = 0
					}
				}
			}
		}
	}
	out.moveTrust(p, to, ax, ay, w, h)
	return out
}

// alongRows resamples every row of p to the columns of the part. Which column
// belongs to a row of the frame depends on where in the part that row ends up: at
// about its own height minus the shift found at the part's middle.
func (p picture) alongRows(to places, ax, ay int) *raster.RGB {
	n, mid := to.u.W, to.u.H/2
	out := raster.GetRGB(n, p.rgb.H())
	vm := to.v.Row(mid)
	var last float32 = float32(to.u.H - 1)
	for y := range p.rgb.H() {
		q := [3][]float32{p.rgb[0].Row(y), p.rgb[1].Row(y), p.rgb[2].Row(y)}
		o := [3][]float32{out[0].Row(y), out[1].Row(y), out[2].Row(y)}
		for x0 := 0; x0 < n; x0 += every {
			at := float32(y+ay) - vm[x0] + float32(mid)
			if at < 0 {
				at = 0
			} else if at > last {
				at = last
			}
			u := to.u.Row(int(at + 0.5))[x0:min(n, x0+every)]
			resampleRow(&o, &q, u, x0, float32(ax))
		}
	}
	return out
}

// run is how many pixels in a row may share one kernel, and steady how much their
// places may differ, in pixels, to share it.
const (
	run    = 8
	steady = 0.04
)

// shared returns the kernel and the pixel left of it that the places p share, or
// false when they are too different, or where the kernel would reach beyond n.
func shared(p []float32, from float32, slope, n int) (k *[6]float32, first int, ok bool) {
	last := len(p) - 1
	f := p[last/2] - from
	i := int(f+16) - 16 // floor
	first = i - slope*(last/2)
	d := p[last] - p[0] - float32(slope*last)
	if first < 2 || first+slope*last+3 >= n || d > steady || d < -steady {
		return nil, 0, false
	}
	return &lanczos[int((f-float32(i))*phases+0.5)], first, true
}

// resampleRow writes len(u) pixels of three rows from column x0 on, read at columns
// u of the frame; the rows read begin at column ax.
func resampleRow(out, in *[3][]float32, u []float32, x0 int, ax float32) {
	w := len(in[0])
	for len(u) > 0 {
		n := min(run, len(u))
		if k, i, ok := shared(u[:n], ax, 1, w); ok {
			for c := range out {
				convolve(out[c][x0:x0+n], in[c][i-2:i+3+n], k)
			}
		} else {
			for x, v := range u[:n] {
				for c := range out {
					out[c][x0+x] = pixelAlong(in[c], v-ax)
				}
			}
		}
		u, x0 = u[n:], x0+n
	}
}

// convolve writes the six-tap sums of in, which is five or more longer than out.
func convolve(out, in []float32, k *[6]float32) {
	in = in[:len(out)+5]
	k0, k1, k2, k3, k4, k5 := k[0], k[1], k[2], k[3], k[4], k[5]
	q0, q1, q2, q3, q4 := in[0], in[1], in[2], in[3], in[4]
	for x := range out {
		q5 := in[x+5]
		out[x] = bound(k0*q0+k1*q1+k2*q2+k3*q3+k4*q4+k5*q5, q2, q3)
		q0, q1, q2, q3, q4 = q1, q2, q3, q4, q5
	}
}

func pixelAlong(src []float32, f float32) float32 {
	i := int(f+16) - 16
	if i < 2 || i+3 >= len(src) {
		return src[max(0, min(len(src)-1, int(f+16.5)-16))]
	}
	k := &lanczos[int((f-float32(i))*phases+0.5)]
	q := src[i-2 : i+4 : i+4]
	return bound(k[0]*q[0]+k[1]*q[1]+k[2]*q[2]+k[3]*q[3]+k[4]*q[4]+k[5]*q[5], q[2], q[3])
}

// alongColumns writes one row, read at rows v of the frame from a plane that begins
// at row ay.
func alongColumns(out []float32, in *raster.Plane, v []float32, ay int) {
	v = v[:len(out)]
	s, h, pix := in.Stride, in.H, in.Pix
	for x0 := 0; x0 < len(out); x0 += run {
		n := min(run, len(out)-x0)
		if k, i, ok := shared(v[x0:x0+n], float32(ay), 0, h); ok {
			o := (i-2)*s + x0
			addRows(out[x0:x0+n], pix[o:], pix[o+s:], pix[o+2*s:], pix[o+3*s:], pix[o+4*s:], pix[o+5*s:], k)
			continue
		}
		for x := x0; x < x0+n; x++ {
			f := v[x] - float32(ay)
			i := int(f+16) - 16
			if i < 2 || i+3 >= h {
				out[x] = pix[max(0, min(h-1, int(f+16.5)-16))*s+x]
				continue
			}
			k := &lanczos[int((f-float32(i))*phases+0.5)]
			q := pix[(i-2)*s+x : (i+3)*s+x+1]
			a, b := q[2*s], q[3*s]
			out[x] = bound(k[0]*q[0]+k[1]*q[s]+k[2]*a+k[3]*b+k[4]*q[4*s]+k[5]*q[5*s], a, b)
		}
	}
}

func addRows(out, a, b, c, d, e, f []float32, k *[6]float32) {
	n := len(out)
	a, b, c, d, e, f = a[:n], b[:n], c[:n], d[:n], e[:n], f[:n]
	k0, k1, k2, k3, k4, k5 := k[0], k[1], k[2], k[3], k[4], k[5]
	for x := range out {
		out[x] = bound(k0*a[x]+k1*b[x]+k2*c[x]+k3*d[x]+k4*e[x]+k5*f[x], c[x], d[x])
	}
}

// bound keeps v near the range of a and b. Which of the two is larger can't be
// foretold, so it is written without a branch on that.
func bound(v, a, b float32) float32 {
	m, d := 0.5*(a+b), 0.5*magnitude(a-b)
	lo, hi := m-d, m+d
	lo -= overshoot * magnitude(lo)
	hi += overshoot * magnitude(hi)
	if v < lo {
		return lo
	}
	if v > hi {
		return hi
	}
	return v
}

func magnitude(v float32) float32 {
	return math.Float32frombits(math.Float32bits(v) &^ (1 << 31))
}

// moveTrust takes the trust of the nearest pixel.
func (out *picture) moveTrust(p picture, to places, ax, ay, w, h int) {
	if p.near != nil {
		out.near = raster.Get(to.u.W, to.u.H)
	}
	pw, ph := p.trust.W, p.trust.H
	for y := range to.u.H {
		u, v, tr := to.u.Row(y), to.v.Row(y), out.trust.Row(y)
		var near []float32
		if p.near != nil {
			near = out.near.Row(y)
		}
		for x := range tr {
			if !(u[x] > -0.5 && v[x] > -0.5 && u[x] < float32(w)-0.5 && v[x] < float32(h)-0.5) {
				tr[x] = 0
				if near != nil {
					near[x] = 1
				}
				continue
			}
			i, j := int(u[x]+0.5)-ax, int(v[x]+0.5)-ay
			o := max(0, min(ph-1, j))*p.trust.Stride + max(0, min(pw-1, i))
			tr[x] = p.trust.Pix[o]
			if near != nil {
				near[x] = p.near.Pix[o]
			}
		}
	}
}

// lowestIsBlack is true for frames whose black is cut: there the kernel's
// undershoot is no light.
func (s *shot) lowestIsBlack() bool { return s.frame.Kind == rawfile.KindDisplay }

func (t warp) identity() bool {
	return t.mesh == nil && t.tx == 0 && t.ty == 0 && t.a == [2][2]float64{{1, 0}, {0, 1}}
}
