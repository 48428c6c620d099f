package bracket

import "mullion/internal/raster"

// mask is a set of proof samples.
type mask struct {
	w, h int
	in   []bool
}

func newMask(w, h int) mask { return mask{w, h, make([]bool, w*h)} }

func (m mask) share() float64 {
	var n int
	for _, v := range m.in {
		if v {
			n++
		}
	}
	return float64(n) / float64(max(1, len(m.in)))
}

// hysteresis keeps the connected areas above grow that reach seed somewhere and
// have at least area samples.
func hysteresis(p *raster.Plane, seed, grow float32, area int) mask {
	m := newMask(p.W, p.H)
	for y := range p.H {
		for x, v := range p.Row(y) {
			m.in[y*p.W+x] = v > grow
		}
	}
	for _, c := range m.components() {
		var top float32
		for _, i := range c {
			top = max(top, p.Pix[int(i)/p.W*p.Stride+int(i)%p.W])
		}
		if top < seed || len(c) < area {
			for _, i := range c {
				m.in[i] = false
			}
		}
	}
	return m
}

// components lists the 8-connected areas by their sample numbers.
func (m mask) components() [][]int32 {
	seen := make([]bool, len(m.in))
	var all [][]int32
	for i, v := range m.in {
		if !v || seen[i] {
			continue
		}
		seen[i] = true
		c := []int32{int32(i)}
		for k := 0; k < len(c); k++ {
			x, y := int(c[k])%m.w, int(c[k])/m.w
			for v := max(0, y-1); v <= min(m.h-1, y+1); v++ {
				for u := max(0, x-1); u <= min(m.w-1, x+1); u++ {
					if j := v*m.w + u; m.in[j] && !seen[j] {
						seen[j] = true
						c = append(c, int32(j))
					}
				}
			}
		}
		all = append(all, c)
	}
	return all
}

// grown returns the mask dilated by a square of radius r.
func (m mask) grown(r int) mask {
	tmp, out := newMask(m.w, m.h), newMask(m.w, m.h)
	for y := range m.h {
		spread(m.in[y*m.w:y*m.w+m.w], tmp.in[y*m.w:y*m.w+m.w], r)
	}
	for y := range m.h {
		dst := out.in[y*m.w : y*m.w+m.w]
		for j := max(0, y-r); j <= min(m.h-1, y+r); j++ {
			for x, v := range tmp.in[j*m.w : j*m.w+m.w] {
				dst[x] = dst[x] || v
			}
		}
	}
	return out
}

func spread(in, out []bool, r int) {
	last := -r - 1
	for x, v := range in {
		if v {
			for i := max(last+1, x-r, 0); i <= min(len(in)-1, x+r); i++ {
				out[i] = true
			}
			last = x + r
		}
	}
}
