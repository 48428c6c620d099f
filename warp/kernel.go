package warp

import (
	"math"
	"sync"

	"mullion/internal/raster"
)

// phases is how finely positions between pixels are told apart: to 1/512 px.
const phases = 256

// kernel holds the weights of every phase, n of them: those of pixels
// i-n/2+1 ... i+n/2 for a position between pixel centres i and i+1.
type kernel struct {
	n int
	w []float32
	// wide8 and wide24 have the weights again, each phase's filled up with zeros to so
	// many; nil when there are more. A plain kernel has both: one side of a map may
	// shrink while the other doesn't.
	wide8, wide24 []float32
}

// newKernel returns Lanczos-3 widened by scale >= 1.
func newKernel(scale float64) *kernel {
	half := int(math.Ceil(3 * scale))
	k := &kernel{n: 2 * half}
	k.w = make([]float32, phases*k.n)
	for p := range phases {
		t := float64(p) / phases
		w := k.w[p*k.n : (p+1)*k.n]
		var sum float64
		for i := range w {
			sum += raster.Lanczos3((float64(i-half+1) - t) / scale)
		}
		for i := range w {
			w[i] = float32(raster.Lanczos3((float64(i-half+1)-t)/scale) / sum)
		}
	}
	k.widen()
	return k
}

func (k *kernel) widen() { k.wide8, k.wide24 = k.filled(8), k.filled(24) }

// filled returns the weights with every phase's filled up to so many.
func (k *kernel) filled(to int) []float32 {
	if k.n > to {
		return nil
	}
	all := make([]float32, phases*to)
	for p := range phases {
		copy(all[p*to:], k.w[p*k.n:(p+1)*k.n])
	}
	return all
}

// kernels keeps the kernels in use, one for every sixteenth of a scale.
type kernels struct {
	sync.Mutex
	all map[int]*kernel
}

func newKernels() *kernels { return &kernels{all: map[int]*kernel{}} }

// For a scale up to this the plain kernel is used: what it lets alias is already
// damped by the optics.
const plainUpTo = 1.0625

func (k *kernels) get(scale float64) *kernel {
	i := 16
	if scale > plainUpTo {
		i = int(math.Ceil(scale * 16))
	}
	k.Lock()
	defer k.Unlock()
	if k.all[i] == nil {
		k.all[i] = newKernel(float64(i) / 16)
	}
	return k.all[i]
}

// overshoot is how far, in EV, a result may leave the range of the four nearest
// pixels.
const overshoot = 1. / 12

// clamp bounds v to the range of four pixels, give or take the overshoot.
func clamp(v, a, b, c, d float32) float32 {
	lo, hi := a, b
	if b < a {
		lo, hi = b, a
	}
	if c < lo {
		lo = c
	} else if c > hi {
		hi = c
	}
	if d < lo {
		lo = d
	} else if d > hi {
		hi = d
	}
	if v < lo-overshoot {
		return lo - overshoot
	}
	if v > hi+overshoot {
		return hi + overshoot
	}
	return v
}

// place is where one output pixel comes from, in a tile's block: the offset of
// the kernel's first pixel, and the phases.
type place struct {
	at     int32
	px, py uint8
}

// row6 is the plain kernel, 6 x 6 pixels.
func row6(out, block []float32, stride int, places []place, k *kernel) {
	if !fast6(out, block, stride, places, k) {
		row6Go(out, block, stride, places, k)
	}
}

func row6Go(out, block []float32, stride int, places []place, k *kernel) {
	places = places[:len(out)]
	for i, p := range places {
		x := k.w[int(p.px)*6 : int(p.px)*6+6 : int(p.px)*6+6]
		y := k.w[int(p.py)*6 : int(p.py)*6+6 : int(p.py)*6+6]
		x0, x1, x2, x3, x4, x5 := x[0], x[1], x[2], x[3], x[4], x[5]
		o := int(p.at)
		r := block[o : o+6 : o+6]
		v := y[0] * (x0*r[0] + x1*r[1] + x2*r[2] + x3*r[3] + x4*r[4] + x5*r[5])
		o += stride
		r = block[o : o+6 : o+6]
		v += y[1] * (x0*r[0] + x1*r[1] + x2*r[2] + x3*r[3] + x4*r[4] + x5*r[5])
		o += stride
		r = block[o : o+6 : o+6]
		a, b := r[2], r[3]
		v += y[2] * (x0*r[0] + x1*r[1] + x2*a + x3*b + x4*r[4] + x5*r[5])
		o += stride
		r = block[o : o+6 : o+6]
		c, d := r[2], r[3]
		v += y[3] * (x0*r[0] + x1*r[1] + x2*c + x3*d + x4*r[4] + x5*r[5])
		o += stride
		r = block[o : o+6 : o+6]
		v += y[4] * (x0*r[0] + x1*r[1] + x2*r[2] + x3*r[3] + x4*r[4] + x5*r[5])
		o += stride
		r = block[o : o+6 : o+6]
		v += y[5] * (x0*r[0] + x1*r[1] + x2*r[2] + x3*r[3] + x4*r[4] + x5*r[5])
		out[i] = clamp(v, a, b, c, d)
	}
}

// rowN is a widened kernel. Its result is bound by the extremes of the pixels
// that the output pixel covers: bound gives how far it may leave them, nil that it is the
// overshoot. lo and hi are scratch of the row's length.
func rowN(out, block []float32, stride int, places []place, kx, ky *kernel, lo, hi []float32, bound func(lo, hi float32) (float32, float32)) {
	if !fast24(out, block, stride, places, kx, ky) {
		sumN(out, block, stride, places, kx, ky)
	}
	inX, inY := kx.n/6, ky.n/6 // pixels to each side of the middle
	block = block[(ky.n/2-inY)*stride+kx.n/2-inX:]
	lo, hi = lo[:len(out)], hi[:len(out)]
	if !fastExtremes(lo, hi, block, stride, places, 2*inX, 2*inY) {
		extremes(lo, hi, block, stride, places, 2*inX, 2*inY)
	}
	if bound == nil {
		n := fastBound(out, lo, hi)
		boundGo(out[n:], lo[n:], hi[n:])
		return
	}
	for i, v := range out {
		l, h := bound(lo[i], hi[i])
		out[i] = min(max(v, l), h)
	}
}

func boundGo(out, lo, hi []float32) {
	for i, v := range out {
		out[i] = min(max(v, lo[i]-overshoot), hi[i]+overshoot)
	}
}

// extremes finds the extremes of the window of w x h samples that begins at each
// place.
func extremes(lo, hi, block []float32, stride int, places []place, w, h int) {
	for i, p := range places[:len(lo)] {
		o := int(p.at)
		l, m := block[o], block[o]
		for range h {
			for _, q := range block[o : o+w] {
				l, m = min(l, q), max(m, q)
			}
			o += stride
		}
		lo[i], hi[i] = l, m
	}
}

// sumN writes the weighted sums of kx.n x ky.n pixels to out.
func sumN(out, block []float32, stride int, places []place, kx, ky *kernel) {
	for i, p := range places[:len(out)] {
		x := kx.w[int(p.px)*kx.n:][:kx.n]
		y := ky.w[int(p.py)*ky.n:][:ky.n]
		o := int(p.at)
		var v float32
		for _, wy := range y {
			r := block[o : o+len(x)]
			var s float32
			for l, wx := range x {
				s += wx * r[l]
			}
			v += wy * s
			o += stride
		}
		out[i] = v
	}
}
