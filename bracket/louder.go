package bracket

import "math"

// Louder is where a merge is noisier than its Noise says: what moved comes from one
// frame alone. Samples are Step pixels a side.
type Louder struct {
	W, H, Step int
	Scale      []float32 // of the standard deviation, 1 or more
}

// At returns the scale at a pixel. A nil Louder is 1 everywhere.
func (l *Louder) At(x, y int) float32 {
	if l == nil {
		return 1
	}
	return l.Scale[min(y/l.Step, l.H-1)*l.W+min(x/l.Step, l.W-1)]
}

// louder compares the noise of the frame that stands alone, or with the few that agree
// with it, with that of the merge. The
// two share a frame, so where they mix their errors add up rather than average.
func (m *merger) louder() *Louder {
	r := m.moved
	if r == nil {
		return nil
	}
	l := &Louder{W: r.w, H: r.h, Step: r.step, Scale: make([]float32, r.w*r.h)}
	for y := range r.h {
		soft := r.soft.Row(y)
		for x := range r.w {
			i := y*r.w + x
			l.Scale[i] = 1
			if soft[x] <= 0 || r.from[i] == 0 {
				continue
			}
			k := int(r.from[i]) - 1
			for k > 0 && m.shots[k].proof.lin.At(x, y) >= 0.9 { // a darker frame stands in
				k--
			}
			// The proof is green; red and blue have about half of its level and often see
			// one more frame unclipped in the merge.
			v := max(0, float64(m.shots[k].proof.lin.At(x, y)))
			joins := k == int(r.from[i])-1
			alone := math.Sqrt((m.aloneAt(k, i, v, joins) + m.aloneAt(k, i, v/2, joins)) / 2)
			l.Scale[i] = max(1, 1+soft[x]*float32(alone-1))
		}
	}
	return l
}

// aloneAt is the variance of a sample of value v of shot k, with the frames that join it
// at proof sample i, over that of the merge.
func (m *merger) aloneAt(k, i int, v float64, joins bool) float64 {
	s := m.shots[k]
	g := float64(s.gain)
	sum := 1 / (g * g * s.noise[1].at(v))
	for j := k + 1; joins && j < len(m.moved.agree); j++ {
		a := m.moved.agree[j]
		if a == nil || a.Pix[i] == 0 {
			continue
		}
		o := m.shots[j]
		og := float64(o.gain)
		u := v * g / og
		sum += float64(a.Pix[i]) * o.fade(1).at(u) / (og * og * o.noise[1].at(u))
	}
	return 1 / (sum * float64(m.out.Noise.VarAt(float32(v*g))))
}
