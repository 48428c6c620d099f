package bracket

import "math"

// Noise is the variance of merged samples by their value. It is what the weights
// predict: near 1 / sum(1/var_i) over the frames that see a value unclipped.
type Noise struct {
	lo, perStep float64 // log2 of the first node, nodes a unit of log2
	variance    []float32
	floor       float32 // variance at zero
	first       float32 // value of the first node
}

// noiseNodes spans 24 stops below the clipping point in quarter stops.
const noiseNodes = 97

func newNoise(clip float64, variance func(v float64) float64) *Noise {
	n := &Noise{lo: math.Log2(clip) - 24, perStep: 4, variance: make([]float32, noiseNodes)}
	for i := range n.variance {
		n.variance[i] = float32(variance(math.Exp2(n.lo + float64(i)/n.perStep)))
	}
	n.floor = float32(variance(0))
	n.first = exp2(n.lo)
	return n
}

// VarAt returns the variance of a merged sample whose expected value is v, in the
// unit of the radiance squared. Values above the clipping point get its variance.
func (n *Noise) VarAt(v float32) float32 {
	if !(v > n.first) {
		return n.floor
	}
	f := (math.Log2(float64(v)) - n.lo) * n.perStep
	i := int(f)
	if i >= len(n.variance)-1 {
		return n.variance[len(n.variance)-1]
	}
	t := float32(f - float64(i))
	return n.variance[i]*(1-t) + n.variance[i+1]*t
}

// predict is the variance at value v of the mean that the weights f_i / var_i make,
// sum(w_i^2 var_i) / sum(w_i)^2: where one frame is left alone its own, however little
// it is trusted.
func (m *merger) predict(v float64) float64 {
	var weights, noise float64
	for i, s := range m.shots {
		g := float64(s.gain)
		x := v / g
		f := s.fade(1).at(x)
		if i == 0 {
			f = max(f, 1e-6)
		}
		w := f / (g * g * s.noise[1].at(x))
		weights += w
		noise += w * f
	}
	return noise / (weights * weights)
}

// fade is how a frame leaves the merge towards its clipping point: fully trusted
// up to lo, not at all from hi on (shares of the white level).
type fade struct{ lo, hi float64 }

// fade ends four standard deviations below clipping, so that the clipping of
// noise peaks does not bias the mean, and is wide enough that the trust does not
// depend on the noise of the sample it judges.
func (s *shot) fade(c int) fade {
	sigma := math.Sqrt(s.noise[c].at(1)) + 0.003 // + the sites' own unevenness
	hi := max(0.6, 1-4*sigma)
	return fade{hi - max(0.08, 10*sigma), hi}
}

func (f fade) at(x float64) float64 {
	t := (f.hi - x) / (f.hi - f.lo)
	if t >= 1 {
		return 1
	}
	if t <= 0 {
		return 0
	}
	return t * t * (3 - 2*t)
}

// report fills what the merge as a whole found.
func (m *merger) rangeEV() float64 {
	lo, hi := math.Log2(float64(m.out.Clip))-30, math.Log2(float64(m.out.Clip))
	for range 40 {
		mid := (lo + hi) / 2
		v := math.Exp2(mid)
		if v*v > m.predict(v) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return math.Log2(float64(m.out.Clip)) - hi
}
