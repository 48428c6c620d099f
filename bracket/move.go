package bracket

import (
	"context"

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

// move resamples a picture of a shot into the reference's geometry (Lanczos-3).
// What lies outside the frame gets no trust.
func (m *merger) move(ctx context.Context, p picture, t warp) (picture, error) {
	w, h := p.rgb.W(), p.rgb.H()
	out := picture{raster.GetRGB(w, h), raster.Get(w, h)}
	step := float64(m.step)
	floor := m.ref.frame.Kind == rawfile.KindDisplay // its black is cut: the kernel's undershoot is no light
	err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			r, g, b, tr := out.rgb[0].Row(y), out.rgb[1].Row(y), out.rgb[2].Row(y), out.trust.Row(y)
			py := (float64(y)+0.5)/step - 0.5
			for x := range w {
				u, v := t.at((float64(x)+0.5)/step-0.5, py)
				r[x], g[x], b[x], tr[x] = p.at((u+0.5)*step-0.5, (v+0.5)*step-0.5)
				if floor {
					r[x], g[x], b[x] = max(0, r[x]), max(0, g[x]), max(0, b[x])
				}
			}
		}
	})
	return out, err
}

func (p picture) at(u, v float64) (r, g, b, trust float32) {
	w, h := p.rgb.W(), p.rgb.H()
	if !(u > -0.5 && v > -0.5 && u < float64(w)-0.5 && v < float64(h)-0.5) {
		return 0, 0, 0, 0
	}
	ix, iy := int(u+8)-8, int(v+8)-8 // floor
	kx := &lanczos[int((u-float64(ix))*phases+0.5)]
	ky := &lanczos[int((v-float64(iy))*phases+0.5)]
	nx, ny := max(0, min(w-1, int(u+0.5))), max(0, min(h-1, int(v+0.5)))
	trust = p.trust.Pix[ny*p.trust.Stride+nx]
	if ix < 2 || iy < 2 || ix+3 >= w || iy+3 >= h {
		return p.rgb[0].At(nx, ny), p.rgb[1].At(nx, ny), p.rgb[2].At(nx, ny), trust
	}
	o := (iy-2)*p.rgb[0].Stride + ix - 2
	s := p.rgb[0].Stride
	return kernel(p.rgb[0].Pix[o:], s, kx, ky), kernel(p.rgb[1].Pix[o:], s, kx, ky), kernel(p.rgb[2].Pix[o:], s, kx, ky), trust
}

func kernel(pix []float32, stride int, kx, ky *[6]float32) float32 {
	var sum float32
	for j := range 6 {
		q := pix[j*stride : j*stride+6 : j*stride+6]
		sum += ky[j] * (kx[0]*q[0] + kx[1]*q[1] + kx[2]*q[2] + kx[3]*q[3] + kx[4]*q[4] + kx[5]*q[5])
	}
	return within(sum, pix[2*stride+2], pix[2*stride+3], pix[3*stride+2], pix[3*stride+3])
}

// overshoot is how far a moved sample may leave the range of the four nearest, as a
// share: about 1/12 EV. A window's edge is a step of 1 to 1000, of which the kernel's
// few per cent of ringing are many times the room's own light, in another place for
// each colour.
const overshoot = 0.06

func within(v, a, b, c, d float32) float32 {
	lo, hi := a, a
	for _, q := range [3]float32{b, c, d} {
		if q < lo {
			lo = q
		} else if q > hi {
			hi = q
		}
	}
	if lo > 0 {
		lo *= 1 - overshoot
	} else {
		lo *= 1 + overshoot
	}
	if hi > 0 {
		hi *= 1 + overshoot
	} else {
		hi *= 1 - overshoot
	}
	if v < lo {
		return lo
	}
	if v > hi {
		return hi
	}
	return v
}

func (t warp) identity() bool {
	return t.mesh == nil && t.tx == 0 && t.ty == 0 && t.a == [2][2]float64{{1, 0}, {0, 1}}
}
