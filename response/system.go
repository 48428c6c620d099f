package response

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// system holds the normal equations of the 256 deviations.
type system struct {
	a    *mat.SymDense
	b    *mat.VecDense
	data float64 // total weight of the data
}

func newSystem() *system {
	return &system{a: mat.NewSymDense(256, nil), b: mat.NewVecDense(256, nil)}
}

// addPlace adds sum_j w_j (g(z_j) - E - ln t_j)^2, minimised over the light E of
// the place.
func (s *system) addPlace(p Place, ev []float64, g0 *Curve, say float64) {
	var sw, se float64
	for j, z := range p {
		w := weight(z) * say
		sw += w
		se += w * (g0[z] - ev[j]*math.Ln2)
	}
	if sw <= 0 {
		return
	}
	mean := se / sw
	for j, z := range p {
		w := weight(z) * say
		if w == 0 {
			continue
		}
		s.data += w
		s.b.SetVec(int(z), s.b.AtVec(int(z))-w*(g0[z]-ev[j]*math.Ln2-mean))
		for k, y := range p {
			v := weight(y) * say
			if v == 0 || int(y) > int(z) {
				continue
			}
			c := -w * v / sw
			if j == k {
				c += w
			}
			s.a.SetSym(int(z), int(y), s.a.At(int(z), int(y))+c)
		}
	}
}

// regularise adds the price of bending, dearer where a code is trusted little, and
// of leaving the assumed curve.
func (s *system) regularise(opt Options) {
	add := func(i, j int, v float64) { s.a.SetSym(i, j, s.a.At(i, j)+v) }
	// Bending is counted over steps of 16 codes, the scale on which cameras bend.
	k := opt.Smooth * s.data / 256 * 16 * 16 * 4
	for z := 1; z < 255; z++ {
		id, c := [3]int{z - 1, z, z + 1}, [3]float64{1, -2, 1}
		for p := range 3 {
			for q := range 3 {
				if id[q] <= id[p] {
					add(id[p], id[q], k*c[p]*c[q])
				}
			}
		}
	}
	h := opt.Hold * s.data / 256
	for z := range 256 {
		v := h
		if z > 118 && z < 138 {
			v = s.data / 256 // the paper's g(128) = 0, spread over a few codes
		}
		add(z, z, v)
	}
}

func (s *system) solve(dev *[256]float64) bool {
	var ch mat.Cholesky
	if !ch.Factorize(s.a) {
		return false
	}
	var x mat.VecDense
	if err := ch.SolveVecTo(&x, s.b); err != nil {
		return false
	}
	for i := range dev {
		dev[i] = x.AtVec(i)
	}
	return true
}
