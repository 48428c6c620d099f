package removal

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// ballots are the weights of the patches' votes: high for patches that found their
// like and whose pixels are well trusted.
func (l *level) ballots() []float32 {
	var some []float32
	step := max(1, len(l.field)/4096)
	for i := 0; i < len(l.field); i += step {
		some = append(some, l.field[i].cost)
	}
	slices.Sort(some)
	// Wexler et al. take the 75th percentile for the variance.
	spread := 2 * some[len(some)*3/4]
	if spread <= 1e-12 {
		spread = 1e-12
	}
	out := make([]float32, len(l.field))
	for i, m := range l.field {
		out[i] = l.weight[l.list[i]] * float32(math.Exp(-float64(m.cost/spread))+1e-6)
	}
	return out
}

// vote rebuilds the hole: each pixel becomes the weighted mean of what the patches
// that hold it say.
func (l *level) vote(ctx context.Context) error {
	ballots := l.ballots()
	return raster.Bands(ctx, l.h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range l.w {
				if l.state[y*l.w+x] == hole {
					l.votePixel(ballots, x, y)
				}
			}
		}
	})
}

func (l *level) votePixel(ballots []float32, x, y int) {
	var sum [chans]float32
	var all float32
	l.voters(x, y, func(i, from int) {
		k, g := ballots[i], l.field[i].gain
		p := l.pix[from*chans : from*chans+chans : from*chans+chans]
		all += k
		sum[0] += k * (p[0] + g)
		sum[1] += k * (p[1] + g)
		sum[2] += k * (p[2] + g)
		sum[3] += k * p[3]
	})
	if all <= 0 {
		return
	}
	p := l.pix[(y*l.w+x)*chans:]
	for c, s := range sum {
		p[c] = s / all
	}
}

// voters calls fn for every patch that holds the pixel (x, y), with the patch's
// index and the pixel its match has in that place.
func (l *level) voters(x, y int, fn func(i, from int)) {
	for qy := max(y-reach, reach); qy <= min(y+reach, l.h-1-reach); qy++ {
		for qx := max(x-reach, reach); qx <= min(x+reach, l.w-1-reach); qx++ {
			q := qy*l.w + qx
			if i := l.index[q]; i >= 0 {
				fn(int(i), int(l.field[i].at)+y*l.w+x-q)
			}
		}
	}
}

// origin is where a filled pixel is copied from, and the gain it gets in EV.
type origin struct {
	from int32
	gain float32
}

// elect chooses for a pixel the one place that most of the votes are for. ok is
// false when no patch holds the pixel.
func (l *level) elect(ballots []float32, x, y int) (o origin, ok bool) {
	var place [side * side]int32
	var votes, gains [side * side]float32
	n := 0
	l.voters(x, y, func(i, from int) {
		k := ballots[i]
		for j := range n {
			if place[j] == int32(from) {
				votes[j] += k
				gains[j] += k * l.field[i].gain
				return
			}
		}
		place[n], votes[n], gains[n] = int32(from), k, k*l.field[i].gain
		n++
	})
	if n == 0 {
		return origin{}, false
	}
	best := 0
	for j := 1; j < n; j++ {
		if votes[j] > votes[best] {
			best = j
		}
	}
	return origin{place[best], gains[best] / max(votes[best], 1e-30)}, true
}
