package deliver

import (
	"context"
	"math"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/jpegfile"
)

const (
	// haloLimit is how far sharpening may leave the range of the 3 x 3
	// neighbourhood: 4 codes of 255 on fine detail, and the less the larger that
	// range is: half of it at haloRange, under 1 at the edge of a bright window.
	// Steeper slopes are welcome, rims are not.
	haloLimit = 4. / 255
	haloRange = 0.15
	// coring fades sharpening out where the detail is as small as grain.
	coring = 1. / 255
	// sourceBlur is the standard deviation, in pixels of the full picture, of what
	// lens, sensor and interpolation blur together; common practice, no source.
	sourceBlur = 0.6
)

// sharpenAmount returns how much high-pass to add after a reduction by the given
// factor (1 for none) of a picture that was reduced by before already. It restores the response at half the Nyquist frequency of
// the new size, which the source's own blur and the kernel have lowered: the
// high-pass passes half of that frequency, so the amount is twice the loss.
func sharpenAmount(factor, before float64) float64 {
	const nu = 0.25 // cycles a pixel
	response := math.Exp(-2 * math.Pow(math.Pi*sourceBlur*nu/(factor*before), 2))
	if factor > 1 {
		var kernel, sum float64
		for i := -200; i <= 200; i++ {
			x := float64(i) / 100
			kernel += mitchell(x) * math.Cos(2*math.Pi*nu*x)
			sum += mitchell(x)
		}
		response *= kernel / sum
	}
	return min(1, 2*(1/response-1))
}

// code turns a picture (linear light, sRGB primaries, 0..1; what lies outside is
// clamped) into 8-bit sRGB. On the way the luma is sharpened by amount, and a
// fixed dither of one code spread keeps smooth walls from banding.
func code(ctx context.Context, pic *raster.RGB, amount float64) (*jpegfile.Image, error) {
	w, h := pic.W(), pic.H()
	out := jpegfile.NewImage(w, h)
	spread := ditherRow(w)
	err := raster.BandsOf(ctx, h, 64, func(y0, y1 int) {
		c := newCoder(w, float32(amount))
		if amount > 0 {
			c.load(pic, y0-1)
			c.load(pic, y0)
		}
		for y := y0; y < y1; y++ {
			if amount > 0 {
				c.load(pic, y+1)
				c.detail(y)
			} else {
				c.load(pic, y)
			}
			c.quantise(out.Pix[3*w*y:3*w*(y+1)], y, spread)
		}
	})
	return out, err
}

// coder holds three rows of codes and luma: row y lies at (y+3) % 3.
type coder struct {
	amount float32
	rgb    [3][3][]float32
	luma   [3][]float32
	column []float32 // luma summed over three rows, with a border of one
	add    []float32
}

func newCoder(w int, amount float32) *coder {
	c := &coder{amount: amount, column: make([]float32, w+2), add: make([]float32, w)}
	for i := range 3 {
		for k := range 3 {
			c.rgb[i][k] = make([]float32, w)
		}
		c.luma[i] = make([]float32, w)
	}
	return c
}

func (c *coder) load(pic *raster.RGB, y int) {
	slot := (y + 3) % 3
	from := max(0, min(y, pic.H()-1))
	for k := range 3 {
		colour.EncodeSRGBRow(c.rgb[slot][k], pic[k].Row(from))
	}
	if c.amount > 0 {
		lumaRow(c.luma[slot], c.rgb[slot][0], c.rgb[slot][1], c.rgb[slot][2])
	}
}

func lumaRow(l, r, g, b []float32) {
	r, g, b = r[:len(l)], g[:len(l)], b[:len(l)]
	for x := range l {
		l[x] = 0.2126*r[x] + 0.7152*g[x] + 0.0722*b[x]
	}
}

// detail works out what to add to the codes of row y.
func (c *coder) detail(y int) {
	up, mid, down := c.luma[(y+2)%3], c.luma[y%3], c.luma[(y+1)%3]
	w := len(mid)
	up, down = up[:w], down[:w]
	col := c.column[1 : w+1]
	for x := range mid {
		col[x] = up[x] + 2*mid[x] + down[x]
	}
	c.column[0], c.column[w+1] = col[0], col[w-1]
	detailRow(c.add, up, mid, down, c.column, c.amount)
}

// The dither is the additive recurrence of the plastic number, which spreads
// evenly over the plane with little at low frequencies (M. Roberts, "The
// unreasonable effectiveness of quasirandom sequences", 2018). It is the same in
// every run, and a value that is exactly a code stays that code.
const (
	ditherX = 0.7548776662466927
	ditherY = 0.5698402909980532
)

func ditherRow(w int) []float32 {
	row := make([]float32, w)
	for x := range row {
		_, f := math.Modf(float64(x) * ditherX)
		row[x] = float32(f)
	}
	return row
}

func (c *coder) quantise(out []byte, y int, spread []float32) {
	var start [3]float32
	for k := range start {
		_, f := math.Modf(float64(y)*ditherY + float64(k)/3)
		start[k] = float32(f)
	}
	quantiseRow(out, &c.rgb[y%3], c.add, spread, &start)
}
