package bracket

import "math"

// tone is how much brighter, in EV, one rendered frame shows what another shows, by
// brightness: what is left of the camera's response when it was only assumed. It is
// taken off before frames are compared, so that a curve is no motion.
type tone [toneBins]float32

const (
	toneBins = 48
	toneLow  = -18. // log2 of the first bin; two bins an EV
)

func toneBin(v float32) int {
	return max(0, min(toneBins-1, int((log2(max(v, 1e-6))-toneLow)*2)))
}

// toneBetween measures shot i against shot k where the others are compared with k.
func (m *merger) toneBetween(base []uint8, i, k int) *tone {
	a, b := m.shots[i], m.shots[k]
	var bins [toneBins][]float32
	w := a.proof.lin.W
	for y := 0; y < a.proof.lin.H; y += 2 {
		ra, rb := a.proof.lin.Row(y), b.proof.lin.Row(y)
		for x := 0; x < w; x += 2 {
			if int(base[y*w+x]) != k || !a.sees(ra[x]) {
				continue
			}
			va, vb := ra[x]*a.gain, rb[x]*b.gain
			// Binned by the mean of both, so that noise does not tilt the curve.
			j := toneBin(sqrt(va * vb))
			bins[j] = append(bins[j], log2(va)-log2(vb))
		}
	}
	var t tone
	for j := range bins {
		if len(bins[j]) > 200 {
			t[j] = median32(bins[j])
		} else if j > 0 {
			t[j] = t[j-1]
		}
	}
	return &t
}

// level returns va as frame k would have shown it.
func (t *tone) level(va, vb float32) float32 {
	return va * float32(math.Exp2(-float64(t[toneBin(sqrt(va*vb))])))
}
