package denoise

import "math"

// A tile is worked in buffers of its own: side samples and 4 on every side, which is
// what blocks 4 apart reach over it.
const (
	side   = 128
	reach  = 4
	padded = side + 2*reach
	pace   = 4 // of blocks
)

// window weighs the samples of a block: its middle saw most of its surroundings, and a
// soft edge leaves no grid (a raised sine; its shape hardly matters).
var window = func() (w [64]float32) {
	at := func(i int) float64 { return math.Sin((float64(i) + 0.5) * math.Pi / 8) }
	for i := range w {
		w[i] = float32(at(i/8)*at(i%8)) + 0.02
	}
	return w
}()

// sheet is a tile of one direction of colour.
type sheet struct {
	in     [padded * padded]float32 // with its noise
	sum    [padded * padded]float32 // weighted blocks
	weight [padded * padded]float32
}

// whole is n rounded up to whole steps of the blocks.
func whole(n int) int { return (n + pace - 1) / pace * pace }

// limits are the squares of thresholds by coefficient, for noise of the power predicted
// and of 2, 4 ... times that. A mean, the first coefficient, has none: 0.
type limits [loudest + 1][64]float32

// shrink replaces the w x h samples in the middle of in by what is left without the
// noise. loud is the power of 2 of the noise at a sample of the tile; nil for 0. Samples
// up to whole(w) + reach, and so for h, must be there.
func (t *sheet) shrink(w, h int, limit *limits, loud func(x, y int) uint8) {
	rows := (whole(h) + 2*reach) * padded
	clear(t.sum[:rows])
	clear(t.weight[:rows])
	n := whole(w)/pace + 1
	for y := 0; y <= whole(h); y += pace {
		for from := 0; from < n; {
			to, q := n, uint8(0)
			if loud != nil { // blocks in a row that are equally loud
				q = loud(from*pace, y)
				for to = from + 1; to < n && loud(to*pace, y) == q; to++ {
				}
			}
			o := y*padded + from*pace
			shrinkRow(t.sum[o:], t.weight[o:], t.in[o:], to-from, &limit[q])
			from = to
		}
	}
	for y := reach; y < reach+h; y++ {
		o := y*padded + reach
		in, sum, weight := t.in[o:o+w], t.sum[o:o+w], t.weight[o:o+w]
		for x := range in {
			in[x] = sum[x] / weight[x]
		}
	}
}

//go:generate sh -c "cd ../internal/avo && go run ./denoise -out ../../denoise/rows_amd64.s -stubs ../../denoise/rows_amd64.go -pkg denoise"

// shrinkRow shrinks n blocks beside each other, pace apart, and adds them up.
func shrinkRow(sum, weight, in []float32, n int, limit *[64]float32) {
	if !fastShrinkRow(sum, weight, in, n, limit) {
		shrinkRowGo(sum, weight, in, n, limit)
	}
}

func shrinkRowGo(sum, weight, in []float32, n int, limit *[64]float32) {
	var b [64]float32
	for i := range n {
		o := i * pace
		for j := range 8 {
			copy(b[8*j:8*j+8], in[o+j*padded:o+j*padded+8])
		}
		forward(&b)
		kept := float32(0)
		for k := range b {
			q := b[k] * b[k]
			g := 1 - limit[k]/(q+1e-20)
			if g < 0 {
				g = 0
			}
			b[k] *= g
			kept += g * g
		}
		backward(&b)
		share := 1 / kept
		for j := range 8 {
			p := o + j*padded
			s, w := sum[p:p+8], weight[p:p+8]
			for x := range 8 {
				k := share * window[8*j+x]
				s[x] += k * b[8*j+x]
				w[x] += k
			}
		}
	}
}
