package denoise

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// need says where noise would be seen. It is found on a thin sample of the picture:
// one pixel in 16.
type need struct {
	w, h     int
	bw, bh   int       // blocks of blockSide
	amount   []float32 // by block: 0 leaves it, 1 takes all noise out
	tw, th   int       // tiles of side
	tiles    []bool    // in which any amount is above 0
	share    float64   // of the blocks
	shown    float64   // noise in L*, 95th percentile of the blocks
	louder   []uint8   // by block: noise power as this power of 2; nil for 0 everywhere
	snr      [3]float64
	channels [3]float64 // mean of a channel over the mean of brightness
}

const (
	blockSide = 16
	thin      = 4 // of the sample, in both directions
)

// What a viewer sees of noise, in standard deviations of L* of single pixels at 100 %:
// below hidden nothing, from plain on it disturbs. Local contrast and sharpening for the
// delivered size come after and make half as much again of it. (From looking at pictures
// of the demo house at several sensitivities, no source; CIE L* has its unit near a just
// noticeable step of large fields, and single pixels are much less noticeable.)
const hidden, plain = 0.35, 0.75

// shownMean is what the mean tone of a picture ends at, as a share of white: rooms are
// shown bright (common practice, no source).
const shownMean = 0.3

func (n *need) report() Report {
	if n == nil {
		return Report{}
	}
	return Report{Share: n.share, Shown: n.shown}
}

func findNeed(ctx context.Context, img *raster.RGB, m *Model) (*need, error) {
	n := &need{w: img.W(), h: img.H()}
	n.bw, n.bh = (n.w+blockSide-1)/blockSide, (n.h+blockSide-1)/blockSide
	n.tw, n.th = (n.w+side-1)/side, (n.h+side-1)/side
	gain, err := n.survey(ctx, img, m)
	if err != nil {
		return n, err
	}
	look := newShown(m, gain, n.channels)
	n.listen(m.Louder)
	raw := make([]float32, n.bw*n.bh)
	err = raster.BandsOf(ctx, n.h, blockSide, func(y0, y1 int) {
		row := raw[y0/blockSide*n.bw:][:n.bw]
		for y := y0; y < y1; y += thin {
			r, g, b := img[0].Row(y), img[1].Row(y), img[2].Row(y)
			for x := 0; x < len(r); x += thin {
				row[x/blockSide] += look.at(luma(r[x], g[x], b[x]))
			}
		}
		down := (y1 - y0 + thin - 1) / thin
		for i := range row {
			across := (min(n.w, (i+1)*blockSide) - i*blockSide + thin - 1) / thin
			row[i] *= n.scale(i, y0/blockSide) / float32(across*down)
		}
	})
	if err != nil {
		return n, err
	}
	n.decide(raw)
	return n, nil
}

// loudest is the largest power of louder blocks: 32 times the noise.
const loudest = 10

// listen asks every block's middle how loud it is.
func (n *need) listen(louder func(x, y int) float32) {
	if louder == nil {
		return
	}
	all := make([]uint8, n.bw*n.bh)
	for i := range all {
		x, y := i%n.bw*blockSide+blockSide/2, i/n.bw*blockSide+blockSide/2
		s := float64(louder(min(x, n.w-1), min(y, n.h-1)))
		if s > 1 {
			all[i] = uint8(min(loudest, math.Round(2*math.Log2(s))))
			if all[i] > 0 {
				n.louder = all
			}
		}
	}
}

// scale is that of the standard deviation of a block.
func (n *need) scale(bx, by int) float32 {
	if n.louder == nil {
		return 1
	}
	return float32(math.Exp2(float64(n.louder[by*n.bw+bx]) / 2))
}

// loud is the power at a pixel of scale l.
func (n *need) loud(x, y, l int) uint8 {
	bx, by := x<<l/blockSide, y<<l/blockSide
	return n.louder[max(0, min(n.bh-1, by))*n.bw+max(0, min(n.bw-1, bx))]
}

func luma(r, g, b float32) float32 { return 0.25*r + 0.5*g + 0.25*b }

// survey finds what turns brightness into the share of white that it is shown at, and
// how the channels stand to each other.
func (n *need) survey(ctx context.Context, img *raster.RGB, m *Model) (float32, error) {
	sigma0 := float32(math.Sqrt(float64(m.Variance(0))))
	type part struct{ log, count, r, g, b float64 }
	parts := make([]part, n.bh)
	err := raster.BandsOf(ctx, n.h, blockSide, func(y0, y1 int) {
		p := &parts[y0/blockSide]
		for y := y0; y < y1; y += thin {
			r, g, b := img[0].Row(y), img[1].Row(y), img[2].Row(y)
			for x := 0; x < len(r); x += thin {
				l := luma(r[x], g[x], b[x])
				if l > m.Clip {
					l = m.Clip
				}
				p.log += float64(raster.Log2(max(l, sigma0)))
				p.count++
				p.r += float64(r[x])
				p.g += float64(g[x])
				p.b += float64(b[x])
			}
		}
	})
	var all part
	for _, p := range parts {
		all.log += p.log
		all.count += p.count
		all.r += p.r
		all.g += p.g
		all.b += p.b
	}
	mean := math.Exp2(all.log / all.count)
	total := 0.25*all.r + 0.5*all.g + 0.25*all.b
	for c, s := range [3]float64{all.r, all.g, all.b} {
		n.channels[c] = max(0.05, min(4, s/max(total, 1e-30)))
		v := float32(mean * n.channels[c])
		n.snr[c] = float64(v) / math.Sqrt(float64(m.Variance(v)))
	}
	return float32(shownMean / mean), err
}

// shown tables the noise in L* by brightness, in eighths of a stop.
type shown struct {
	low   float32 // log2 of the first
	sigma []float32
}

// newShown makes the table. Brightness l is shown as gain*l: L* = 116 Y^(1/3) - 16,
// and 903.3 Y below 0.008856 (CIE 15). Above white the picture is compressed, and its
// noise with it. The noise is the mean of that of the three channels, each of which
// white balance brings to the same level.
func newShown(m *Model, gain float32, channels [3]float64) *shown {
	sigma0 := math.Sqrt(float64(m.Variance(0)))
	s := &shown{low: float32(math.Log2(sigma0)) - 1}
	n := int(8*(math.Log2(float64(m.Clip))-float64(s.low))) + 9
	for i := range n {
		l := math.Exp2(float64(s.low) + float64(i)/8)
		var v float64
		for _, c := range channels {
			v += float64(m.Variance(float32(l*c))) / (c * c)
		}
		sd := math.Sqrt(v/3) * float64(gain)
		y := min(1, l*float64(gain))
		slope := 903.3
		if y > 0.008856 {
			slope = 116. / 3 * math.Pow(y, -2./3)
		}
		if l*float64(gain) > 1 {
			sd /= l * float64(gain)
		}
		s.sigma = append(s.sigma, float32(slope*sd))
	}
	return s
}

func (s *shown) at(l float32) float32 {
	i := int((raster.Log2(l) - s.low) * 8)
	return s.sigma[max(0, min(len(s.sigma)-1, i))]
}

// patchy is the noise from which a patch of grain is seen in a picture that is clean
// around it, by its outline, where grain all over would not be: a quarter of hidden (from
// looking at the ceiling around the demo house's fan, no source).
const patchy = hidden / 4

// patch is the amount that leaves a louder block of noise v no noisier than its
// surroundings.
func (n *need) patch(i int, v float32) float32 {
	if n.louder == nil || n.louder[i] == 0 {
		return 0
	}
	k := max(0, min(1, (v-patchy)/patchy))
	return k * (1 - 1/n.scale(i%n.bw, i/n.bw))
}

// decide turns noise by block into amounts and tiles.
func (n *need) decide(raw []float32) {
	sorted := slices.Clone(raw)
	slices.Sort(sorted)
	n.shown = float64(sorted[len(sorted)*95/100])
	n.amount = make([]float32, len(raw))
	n.tiles = make([]bool, n.tw*n.th)
	least := hidden
	if n.louder != nil {
		least = patchy
	}
	if float64(sorted[len(sorted)-1]) <= least {
		return
	}
	raw = n.spread(raw)
	count := 0
	for i, v := range raw {
		a := (v - hidden) / (plain - hidden)
		a = max(0, min(1, a))
		a = max(a*a*(3-2*a), n.patch(i, v))
		n.amount[i] = a
		if a == 0 {
			continue
		}
		count++
		// Amounts run on into half of the blocks beside.
		x, y := i%n.bw*blockSide, i/n.bw*blockSide
		for _, ty := range [2]int{max(0, y-blockSide/2) / side, min(n.h-1, y+blockSide*3/2) / side} {
			for _, tx := range [2]int{max(0, x-blockSide/2) / side, min(n.w-1, x+blockSide*3/2) / side} {
				n.tiles[ty*n.tw+tx] = true
			}
		}
	}
	n.share = float64(count) / float64(len(raw))
}

// spread takes the most of a block and its neighbours, so that the dark side of an
// edge is not left for its bright side's sake, and smooths what comes of it.
func (n *need) spread(raw []float32) []float32 {
	around := func(in []float32, fold func(a, b float32) float32, scale float32) []float32 {
		out := make([]float32, len(in))
		for y := range n.bh {
			for x := range n.bw {
				v := in[y*n.bw+x]
				first := true
				for j := max(0, y-1); j <= min(n.bh-1, y+1); j++ {
					for i := max(0, x-1); i <= min(n.bw-1, x+1); i++ {
						if first {
							v, first = in[j*n.bw+i], false
						} else {
							v = fold(v, in[j*n.bw+i])
						}
					}
				}
				out[y*n.bw+x] = v * scale
			}
		}
		return out
	}
	most := around(raw, func(a, b float32) float32 { return max(a, b) }, 1)
	return around(most, func(a, b float32) float32 { return a + b }, 1./9)
}

// amountRow writes the amounts of the samples (x0, y) ... to row, linear between the
// middles of blocks.
func (n *need) amountRow(row []float32, x0, y int) {
	fy := (float32(y)+0.5)/blockSide - 0.5
	j := int(fy + 1)
	ty := fy + 1 - float32(j)
	a := n.amount[max(0, min(n.bh-1, j-1))*n.bw:][:n.bw]
	b := n.amount[max(0, min(n.bh-1, j))*n.bw:][:n.bw]
	last := -2
	var left, right float32
	for x := range row {
		fx := (float32(x0+x)+0.5)/blockSide + 0.5
		i := int(fx)
		if i != last {
			p, q := max(0, min(n.bw-1, i-1)), max(0, min(n.bw-1, i))
			left = a[p] + ty*(b[p]-a[p])
			right = a[q] + ty*(b[q]-a[q])
			last = i
		}
		row[x] = left + (fx-float32(i))*(right-left)
	}
}
