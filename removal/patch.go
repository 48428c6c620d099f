package removal

const (
	// lightCost is what a patch pays for being taken brighter or darker, as a share
	// of what the difference would cost unadapted.
	lightCost = 0.3
	// mostGain bounds the adaptation, in EV.
	mostGain = 0.35
	// textureWeight sets a difference of texture against one of colour.
	textureWeight = 0.5
	// nearness is what a source as far away as the search reaches costs more than
	// one beside the hole: what is near has the scale, the light and the stuff.
	nearness = 0.5
	// decay is how much less a pixel is trusted for every pixel it is deeper in the
	// hole (Wexler et al. 2007).
	decay = 1.3
)

// compare returns how much the patch around pixel s differs from the one around t,
// with the best gain for s. It stops when the cost is certain to reach limit.
//
// With d the differences, w the weights of t's pixels and n their sum over pixels
// and colours, the gain that fits best is the weighted mean of d, and leaves
// sum(w d^2) - sum(w d)^2 / n.
func (l *level) compare(t, s int, limit float32) (cost, gain float32) {
	var sum, squares, n float32
	for dy := -reach; dy <= reach; dy++ {
		to, so := t+dy*l.w-reach, s+dy*l.w-reach
		a := l.pix[to*chans : to*chans+side*chans : to*chans+side*chans]
		b := l.pix[so*chans : so*chans+side*chans : so*chans+side*chans]
		k := l.weight[to : to+side : to+side]
		for i := range side {
			w := k[i]
			d0, d1, d2, d3 := a[i*chans]-b[i*chans], a[i*chans+1]-b[i*chans+1], a[i*chans+2]-b[i*chans+2], a[i*chans+3]-b[i*chans+3]
			sum += w * (d0 + d1 + d2)
			squares += w * (d0*d0 + d1*d1 + d2*d2 + textureWeight*d3*d3)
			n += w
		}
		if n > 0 && squares-sum*sum/(3*n) >= limit {
			return limit, 0
		}
	}
	if n == 0 {
		return 0, 0
	}
	n *= 3
	gain = sum / n
	if gain > mostGain {
		gain = mostGain
	} else if gain < -mostGain {
		gain = -mostGain
	}
	return squares - 2*gain*sum + gain*gain*n*(1+lightCost), gain
}
