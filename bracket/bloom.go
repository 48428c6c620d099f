package bracket

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// bloomReach is how far from a clipped proof sample a frame is checked for light that
// does not belong there, and bloomFew how many samples that takes.
const (
	bloomReach = 8
	bloomFew   = 100
)

// bloomEven is how much (between quartiles, as a share) two frames may differ far from
// anything clipped: when the light changed, what differs beside a lamp says nothing.
const bloomEven = 0.08

// bloomLeast is the excess, as a share of the value, that is worth mending.
const bloomLeast = 0.01

// bloom looks beside what clips in every frame. Charge that runs over, light that is
// reflected between sensor and lens, a row of the sensor that can't follow: each makes
// samples beside a window or a lamp brighter than the next darker frame, which does
// not clip there, says. The typical excess at every distance counts as variance from
// then on, so that the darker frame decides where it is large. Moving things have no
// part in it: they are not bright on all sides of what clips, and a median is taken.
func (m *merger) bloom(ctx context.Context) error {
	for k, s := range m.shots {
		if k == 0 || s.proof.clipped == 0 {
			continue
		}
		near := s.proof.distances()
		excess := m.excess(k, near)
		if excess[1] == 0 {
			continue
		}
		p := raster.Get(s.proof.lin.W, s.proof.lin.H)
		for y := range p.H {
			row := p.Row(y)
			for x, d := range near[y*p.W : y*p.W+p.W] {
				row[x] = excess[d] * s.gain
			}
		}
		s.bloom = p
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// distances is, for every sample, how many steps away the nearest clipped one is, up
// to bloomReach; farther ones have bloomReach+1.
func (p *proof) distances() []uint8 {
	w, h := p.lin.W, p.lin.H
	d := make([]uint8, w*h)
	var queue []int32
	for y := range h {
		row := p.lin.Row(y)
		for x, v := range row {
			if v < saturated {
				d[y*w+x] = bloomReach + 1
				continue
			}
			// Only the rim of a clipped area starts a search.
			if x > 0 && row[x-1] < saturated || x+1 < w && row[x+1] < saturated ||
				y > 0 && p.lin.Row(y - 1)[x] < saturated || y+1 < h && p.lin.Row(y + 1)[x] < saturated {
				queue = append(queue, int32(y*w+x))
			}
		}
	}
	visit := func(i int, v uint8) {
		if d[i] > v {
			d[i] = v
			queue = append(queue, int32(i))
		}
	}
	for k := 0; k < len(queue); k++ {
		i := int(queue[k])
		x, v := i%w, d[i]+1
		if v > bloomReach {
			continue
		}
		if x > 0 {
			visit(i-1, v)
		}
		if x+1 < w {
			visit(i+1, v)
		}
		if i >= w {
			visit(i-w, v)
		}
		if i+w < w*h {
			visit(i+w, v)
		}
	}
	return d
}

// excess is how much too bright shot k is at every distance from what it clips, as a
// share of its clipping point: 0 from the distance on where it is no longer sure or
// no longer matters. At distance 0, where single photosites may not clip, it is that
// of the next sample and half as much again.
func (m *merger) excess(k int, near []uint8) (out [bloomReach + 2]float32) {
	var all [bloomReach + 2][]float32
	var far []float32
	s := m.shots[k]
	w := s.proof.lin.W
	for y := range s.proof.lin.H {
		row := s.proof.lin.Row(y)
		step := 1
		for x := 0; x < w; x += step {
			d := near[y*w+x]
			step = 1
			if d > bloomReach {
				step = 7
			}
			if d == 0 || !s.sees(row[x]) {
				continue
			}
			b, ok := m.darker(k, x, y)
			if !ok {
				continue
			}
			if d > bloomReach {
				far = append(far, row[x]/b-1)
			} else {
				all[d] = append(all[d], row[x], b)
			}
		}
	}
	if len(far) < bloomFew {
		return out
	}
	off := 1 + median32(far)
	if n := len(far); far[3*n/4]-far[n/4] > bloomEven {
		return out
	}
	for d := 1; d <= bloomReach && len(all[d]) >= 2*bloomFew; d++ {
		var add, share []float32
		for i := 0; i < len(all[d]); i += 2 {
			a, b := all[d][i], all[d][i+1]*off
			add, share = append(add, a-b), append(share, (a-b)/b)
		}
		slices.Sort(add)
		mid := median32(share)
		n := len(share)
		spread := float64(share[3*n/4]-share[n/4]) / 1.349
		if !(mid > bloomLeast && float64(mid) > 4*1.25*spread/math.Sqrt(float64(n))) {
			break
		}
		// Of the rim the more affected part decides.
		out[d] = max(0, add[3*n/4])
	}
	out[0] = 1.5 * out[1]
	return out
}

// darker is what the nearest darker shot that sees a sample, and has no excess of its
// own there, says about it, as shot k would show it.
func (m *merger) darker(k, x, y int) (float32, bool) {
	for j := k - 1; j >= 0; j-- {
		s := m.shots[j]
		v := s.proof.lin.Row(y)[x]
		if v >= 0.9 || s.bloom != nil && s.bloom.Row(y)[x] > bloomLeast*v*s.gain {
			continue
		}
		return v * s.gain / m.shots[k].gain, s.sees(v)
	}
	return 0, false
}

// bloomRow writes the expected excess, in radiance, of a part of a full-resolution
// row from column x0 on, and returns false when there is none.
func (s *shot) bloomRow(dst []float32, step, x0, y int) bool {
	if s.bloom == nil {
		return false
	}
	row := s.bloom.Row(min(y/step, s.bloom.H-1))
	any := false
	for x := range dst {
		v := row[min((x0+x)/step, len(row)-1)]
		dst[x] = v
		any = any || v > 0
	}
	return any
}
