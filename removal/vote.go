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
	var room voters
	var s0, s1, s2, s3, all float32
	for _, v := range l.voters(&room, x, y) {
		k, g := ballots[v.patch], l.field[v.patch].gain
		p := l.pix[int(v.from)*chans : int(v.from)*chans+chans : int(v.from)*chans+chans]
		all += k
		s0 += k * (p[0] + g)
		s1 += k * (p[1] + g)
		s2 += k * (p[2] + g)
		s3 += k * p[3]
	}
	if all <= 0 {
		return
	}
	p := l.pix[(y*l.w+x)*chans:]
	p[0], p[1], p[2], p[3] = s0/all, s1/all, s2/all, s3/all
}

// voter is a patch that holds a pixel, and the pixel its match has in that place.
type voter struct{ patch, from int32 }

// voters is room for all there can be.
type voters [side * side]voter

// voters fills room with the patches that hold the pixel (x, y).
func (l *level) voters(room *voters, x, y int) []voter {
	n := 0
	left, right := max(x-reach, reach), min(x+reach, l.w-1-reach)
	for qy := max(y-reach, reach); qy <= min(y+reach, l.h-1-reach); qy++ {
		off := (y-qy)*l.w + x - left
		for j, i := range l.index[qy*l.w+left : max(left, right+1)+qy*l.w] {
			if i >= 0 {
				room[n] = voter{i, l.field[i].at + int32(off-j)}
				n++
			}
		}
	}
	return room[:n]
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
	var room voters
	last := 0 // neighbours mostly vote for the same place
election:
	for _, v := range l.voters(&room, x, y) {
		k, gain := ballots[v.patch], l.field[v.patch].gain
		if n > 0 && place[last] == v.from {
			votes[last] += k
			gains[last] += k * gain
			continue
		}
		for j, p := range place[:n] {
			if p == v.from {
				votes[j] += k
				gains[j] += k * gain
				last = j
				continue election
			}
		}
		last = n
		place[n], votes[n], gains[n] = v.from, k, k*gain
		n++
	}
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
