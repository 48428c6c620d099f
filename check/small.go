package check

import (
	"context"
	"math"

	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/rawfile"
)

// smallEdge is the long edge that frames are reduced to, about: a tilt is known to a
// tenth of a degree and a shift to a third of a sensor pixel at this size, and five
// frames of it are merged in a tenth of a second.
const smallEdge = 1200

// small is one frame reduced for the check. Everything is in the sensor's
// orientation.
type small struct {
	frame *rawfile.Frame // the reduced frame, in the form the merge takes
	info  metadata.Info
	fullW int
	fullH int
	step  int // full-size pixels a reduced one

	clip  *raster.Plane // share of the photosites under each pixel that clip, 0 to 1
	noise noise         // of one photosite
	sharp sharpness
	err   error // why the frame can't be used; everything else is zero then
}

// noise is the variance s*x + o of one green photosite of value x, 0..1 between black
// and clipping.
type noise struct{ s, o float64 }

func (n noise) at(x float64) float64 { return n.s*math.Max(0, x) + n.o }

// snr is the signal-to-noise ratio of one photosite.
func (n noise) snr(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x / math.Sqrt(n.at(x))
}

// pushed returns by how many EV the exposure of x has to grow for the ratio to reach
// want; 0 when it does already. It solves g x = want sqrt(s g x + o) for the gain g.
func (n noise) pushed(x, want float64) float64 {
	if n.snr(x) >= want {
		return 0
	}
	// y = g x: y^2 - want^2 s y - want^2 o = 0.
	b, c := want*want*n.s, want*want*n.o
	y := (b + math.Sqrt(b*b+4*c)) / 2
	return math.Log2(y / math.Max(x, y/256))
}

// load decodes a frame, measures what needs all pixels, and keeps it at reduced size.
func load(ctx context.Context, path string) *small {
	f, err := rawfile.Decode(ctx, path)
	if err != nil {
		return &small{err: err}
	}
	defer f.Release()
	s, err := shrink(ctx, f)
	if err != nil {
		return &small{err: err}
	}
	return s
}

func shrink(ctx context.Context, f *rawfile.Frame) (*small, error) {
	s := &small{info: f.Info}
	var err error
	switch {
	case f.Mosaic != nil:
		err = s.fromMosaic(ctx, f)
	case f.RGB != nil:
		err = s.fromRGB(ctx, f, f.RGB)
	default:
		err = s.fromRGB(ctx, f, f.Coded.RGB)
	}
	return s, err
}

// stepFor is the even number of pixels that brings the long edge near smallEdge.
func stepFor(w, h int) int {
	return max(2, 2*int(math.Round(float64(max(w, h))/smallEdge/2)))
}

func (s *small) fromMosaic(ctx context.Context, f *rawfile.Frame) error {
	m := f.Mosaic
	s.fullW, s.fullH, s.step = m.W, m.H, stepFor(m.W, m.H)
	s.noise = noise{1. / 40000 * math.Max(1, f.Info.ISO/100), math.Pow(6./40000*math.Max(1, f.Info.ISO/100), 2)}
	if m.HasNoise {
		s.noise = noise{m.Noise[1].S, m.Noise[1].O}
	}
	w, h := m.W/s.step, m.H/s.step
	rgb := raster.GetRGB(w, h)
	s.clip = raster.Get(w, h)
	if err := raster.Bands(ctx, h, func(y0, y1 int) { binMosaic(rgb, s.clip, m, s.step, y0, y1) }); err != nil {
		return err
	}
	s.frame = &rawfile.Frame{Path: f.Path, Info: f.Info, Kind: rawfile.KindCameraRGB, RGB: rgb, Camera: f.Camera}
	var err error
	s.sharp, err = mosaicSharpness(ctx, m, s.noise)
	return err
}

// binMosaic writes rows y0 to y1 of the reduced frame: the mean of each colour over
// step x step photosites, 0 black and 1 clipping. A colour of which any photosite
// clips counts as clipped, because its mean says too little.
func binMosaic(rgb *raster.RGB, clip *raster.Plane, m *rawfile.Mosaic, step, y0, y1 int) {
	w := clip.W
	sum, top := make([]uint32, 4*w), make([]uint16, 4*w)
	full := make([]uint16, w)
	var limit [4]uint16 // by position in the 2 x 2 cell
	for p := range limit {
		b := m.Black[p>>1][p&1]
		limit[p] = uint16(b + clipFrom*(m.White-b))
	}
	n := float32(step * step / 4)
	for y := y0; y < y1; y++ {
		clear(sum)
		clear(top)
		clear(full)
		for j := range step {
			o := (y*step + j) * m.W
			binRow(m.Pix[o:o+w*step], sum, top, full, step, j&1, limit)
		}
		share := clip.Row(y)
		var out [3][]float32
		for c := range out {
			out[c] = rgb[c].Row(y)
			clear(out[c])
		}
		for x := range w {
			share[x] = float32(full[x]) / (4 * n)
			for p := range 4 {
				c := m.CFA[p>>1][p&1]
				b := m.Black[p>>1][p&1]
				v := (float32(sum[4*x+p])/n - b) / (m.White - b)
				if c == 1 {
					v /= 2
				}
				if top[4*x+p] >= limit[p] {
					v = 2
				}
				out[c][x] += v
			}
			for c := range out {
				if out[c][x] > 1 {
					out[c][x] = 1
				}
			}
		}
	}
}

// binRow adds one row of photosites: sums and largest samples by position in the
// cell, and how many clip, which is counted only where any does.
func binRow(row []uint16, sum []uint32, top, full []uint16, step, odd int, limit [4]uint16) {
	l0, l1 := limit[2*odd], limit[2*odd+1]
	for x := range full {
		p := row[x*step : x*step+step]
		var a, b uint32
		var t0, t1 uint16
		for i := 0; i+1 < len(p); i += 2 {
			q := p[i : i+2 : i+2]
			u, v := q[0], q[1]
			a += uint32(u)
			b += uint32(v)
			t0, t1 = max(t0, u), max(t1, v)
		}
		k := 4*x + 2*odd
		s, t := sum[k:k+2:k+2], top[k:k+2:k+2]
		s[0] += a
		s[1] += b
		t[0], t[1] = max(t[0], t0), max(t[1], t1)
		if t0 >= l0 || t1 >= l1 {
			full[x] += countFull(p, l0, l1)
		}
	}
}

func countFull(p []uint16, l0, l1 uint16) (n uint16) {
	for i := 0; i+1 < len(p); i += 2 {
		if p[i] >= l0 {
			n++
		}
		if p[i+1] >= l1 {
			n++
		}
	}
	return n
}

// fromRGB reduces interpolated or rendered pixels.
func (s *small) fromRGB(ctx context.Context, f *rawfile.Frame, src *raster.RGB) error {
	s.fullW, s.fullH = src.W(), src.H()
	s.step = max(1, int(math.Round(float64(max(s.fullW, s.fullH))/smallEdge)))
	w, h := s.fullW/s.step, s.fullH/s.step
	rgb := raster.GetRGB(w, h)
	s.clip = raster.Get(w, h)
	coded := f.Coded != nil
	s.noise = noise{1. / 40000, math.Pow(6./40000, 2)}
	if err := raster.Bands(ctx, h, func(y0, y1 int) { binRGB(rgb, s.clip, src, s.step, y0, y1) }); err != nil {
		return err
	}
	s.frame = &rawfile.Frame{Path: f.Path, Info: f.Info, Kind: f.Kind, Camera: f.Camera}
	if coded {
		c := *f.Coded
		c.RGB = rgb
		s.frame.Coded = &c
	} else {
		s.frame.RGB = rgb
	}
	var err error
	s.sharp, err = rgbSharpness(ctx, src, coded, s.noise)
	return err
}

func binRGB(rgb *raster.RGB, clip *raster.Plane, src *raster.RGB, step, y0, y1 int) {
	n := 1 / float32(step*step)
	for y := y0; y < y1; y++ {
		share := clip.Row(y)
		for x := range share {
			full := 0
			var sum, top [3]float32
			for j := range step {
				o := (y*step+j)*src[0].Stride + x*step
				r, g, b := src[0].Pix[o:o+step], src[1].Pix[o:o+step], src[2].Pix[o:o+step]
				for i := range r {
					for c, v := range [3]float32{r[i], g[i], b[i]} {
						sum[c] += v
						if v > top[c] {
							top[c] = v
						}
					}
					if r[i] >= clipFrom || g[i] >= clipFrom || b[i] >= clipFrom {
						full++
					}
				}
			}
			share[x] = float32(full) * n
			for c := range sum {
				v := sum[c] * n
				if top[c] >= clipFrom {
					v = 1
				}
				rgb[c].Row(y)[x] = v
			}
		}
	}
}

// colours is the reduced frame's pixels, linear for a sensor's and coded for a rendered
// file's.
func (s *small) colours() *raster.RGB {
	if s.frame.Coded != nil {
		return s.frame.Coded.RGB
	}
	return s.frame.RGB
}

func (s *small) release() {
	if s.frame != nil {
		raster.PutRGB(s.colours())
		raster.Put(s.clip)
		s.frame, s.clip = nil, nil
	}
}
