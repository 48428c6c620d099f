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
	corner := reach*l.w + reach
	sum, squares, n := differ(l.pix[(t-corner)*chans:], l.pix[(s-corner)*chans:], l.weight[t-corner:], l.w, limit)
	n *= 3
	if n == 0 {
		return 0, 0
	}
	if over(sum, squares, n, limit) {
		return limit, 0
	}
	gain = sum / n
	if gain > mostGain {
		gain = mostGain
	} else if gain < -mostGain {
		gain = -mostGain
	}
	return squares - float32(2*gain*sum) + float32(gain*gain*n*(1+lightCost)), gain
}

// over reports that no gain brings the cost below limit, without a division. A sum of
// weights of 0 says nothing.
func over(sum, squares, n, limit float32) bool { return n*(squares-limit) > float32(sum*sum) }

//go:generate sh -c "cd ../internal/avo && go run ./removal -out ../../removal/patch_amd64.s -stubs ../../removal/patch_amd64.go -pkg removal"

// every is how many rows are added up between looks at the limit, a power of two: a look
// costs as much as a row, and 4 beats 2, which beats 1.
const every = 4

// differ adds up the weighted differences of the colours of two patches, the squares
// of all differences, and the weights. The slices begin at the patches' first pixels;
// stride is in pixels. It may end early when over is certain of the sums.
func differ(a, b, weight []float32, stride int, limit float32) (sum, squares, n float32) {
	if fast {
		return fastDiffer(a, b, weight, stride, limit)
	}
	return differGo(a, b, weight, stride, limit)
}

// lane is what every fourth pixel of a row adds up to, by channel.
type lane struct {
	d0, d1, d2     float32
	q0, q1, q2, q3 float32
	n              float32
}

// differGo adds in the order of a processor that takes two pixels at once and two such
// pairs by turns, and rounds every product, so that a fill is the same on all machines.
func differGo(a, b, weight []float32, stride int, limit float32) (sum, squares, n float32) {
	var lanes [4]lane
	for left := side; ; {
		rows := left % every
		if rows == 0 {
			rows = every
		}
		for i := range lanes {
			lanes[i].add(a[i*chans:], b[i*chans:], weight[i:], stride, rows, side-i)
		}
		sum, squares, n = total(&lanes)
		left -= rows
		if left == 0 || over(sum, squares, 3*n, limit) {
			return sum, squares, n
		}
		a, b, weight = a[rows*stride*chans:], b[rows*stride*chans:], weight[rows*stride:]
	}
}

// add adds every fourth of the pixels of some rows.
func (l *lane) add(a, b, weight []float32, stride, rows, pixels int) {
	// Single variables stay in registers, a struct of eight doesn't.
	s0, s1, s2, n := l.d0, l.d1, l.d2, l.n
	t0, t1, t2, t3 := l.q0, l.q1, l.q2, l.q3
	for y := range rows {
		for i := y * stride; i < y*stride+pixels; i += 4 {
			w := weight[i]
			p, q := a[i*chans:i*chans+chans:i*chans+chans], b[i*chans:i*chans+chans:i*chans+chans]
			d0, d1, d2, d3 := p[0]-q[0], p[1]-q[1], p[2]-q[2], p[3]-q[3]
			w0, w1, w2, w3 := float32(w*d0), float32(w*d1), float32(w*d2), float32(w*d3)
			s0 += w0
			s1 += w1
			s2 += w2
			t0 += float32(w0 * d0)
			t1 += float32(w1 * d1)
			t2 += float32(w2 * d2)
			t3 += float32(w3 * d3)
			n += w
		}
	}
	*l = lane{s0, s1, s2, t0, t1, t2, t3, n}
}

func total(l *[4]lane) (sum, squares, n float32) {
	u, v := l[0].plus(l[2]), l[1].plus(l[3])
	t := u.plus(v)
	return (t.d0 + t.d1) + t.d2, (t.q0 + t.q1) + (t.q2 + float32(textureWeight*t.q3)), t.n
}

func (l lane) plus(o lane) lane {
	return lane{l.d0 + o.d0, l.d1 + o.d1, l.d2 + o.d2, l.q0 + o.q0, l.q1 + o.q1, l.q2 + o.q2, l.q3 + o.q3, l.n + o.n}
}
