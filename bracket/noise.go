package bracket

import (
	"context"
	"math"
	"sort"

	"mullion/rawfile"
)

// line is a noise model of one exposure: the variance of a normalised sample x
// (0 black, 1 clipping) is s*x + o, shot noise and read noise.
type line struct{ s, o float64 }

func (l line) at(x float64) float64 { return l.s*max(0, x) + l.o }

// typical stands in where a frame says nothing about its noise: a full well of
// 30,000 electrons and 6 electrons of read noise.
var typical = line{1. / 30000, 36. / 30000 / 30000}

// measureNoise gives every shot its noise model: the file's own profile, or one
// measured on the frame.
func (m *merger) measureNoise(ctx context.Context) error {
	for _, s := range m.shots {
		f := s.frame
		switch {
		case f.Kind == rawfile.KindMosaic && f.Mosaic.HasNoise:
			for c, n := range f.Mosaic.Noise {
				s.noise[c] = line{max(0, n.S), max(1e-12, n.O)}
			}
		case f.Kind == rawfile.KindMosaic:
			l := measureMosaic(f.Mosaic)
			s.noise = [3]line{l, l, l}
		case f.Kind == rawfile.KindCameraRGB:
			// Interpolated elsewhere: its neighbours share their noise, which hides it.
			s.noise = [3]line{typical, typical, typical}
		default:
			s.curves = profileCurves(f.Coded)
			s.noise = s.curves.noise(f.Coded.Bits)
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	m.poolNoise()
	return nil
}

// poolNoise gives frames of one sensitivity without a profile the same model: a
// dark frame alone says little about shot noise, a bright one little about the
// floor.
func (m *merger) poolNoise() {
	byISO := map[float64][]*shot{}
	for _, s := range m.shots {
		if s.frame.Kind == rawfile.KindMosaic && !s.frame.Mosaic.HasNoise {
			byISO[s.frame.Info.ISO] = append(byISO[s.frame.Info.ISO], s)
		}
	}
	for _, group := range byISO {
		var ss, oo []float64
		for _, s := range group {
			ss, oo = append(ss, s.noise[0].s), append(oo, s.noise[0].o)
		}
		sort.Float64s(ss)
		sort.Float64s(oo)
		l := line{ss[len(ss)/2], oo[len(oo)/2]}
		for _, s := range group {
			s.noise = [3]line{l, l, l}
		}
	}
}

// measureMosaic fits the noise line of one mosaic by robust mean and variance of
// small patches: the second difference across and along removes slopes (Immerkaer,
// Comput. Vis. Image Underst. 64, 1996), and in every class of brightness the
// quietest patches, which hold noise and no texture, are taken.
func measureMosaic(m *rawfile.Mosaic) line {
	const classes = 24
	scale := 1 / float64(m.White-m.Black[0][0])
	bins := make([][]patch, classes)
	// Patches of 9 x 9 samples of one colour, spread over the frame; about 20,000.
	skip := max(20, int(math.Sqrt(float64(m.W*m.H)/20000)))
	for y := 0; y+20 <= m.H; y += skip {
		for x := 0; x+20 <= m.W; x += skip {
			for c := range 2 { // one green and one other of the cell
				p, ok := measurePatch(m, x&^1+c, y&^1, scale)
				if !ok {
					continue
				}
				b := int((math.Log2(max(p.mean, 1e-5)) + 12) * 2)
				bins[max(0, min(classes-1, b))] = append(bins[max(0, min(classes-1, b))], p)
			}
		}
	}
	var pts []patch
	for _, b := range bins {
		if len(b) >= 24 {
			pts = append(pts, quietest(b))
		}
	}
	l := fitLine(pts, scale)
	// A frame without dark parts does not say what its black is like: the fit then reads
	// anything down to nothing. No sensor in cameras of this kind is quieter than this
	// (from memory; common practice, no source).
	least := leastRead * l.s
	l.o = max(l.o, least*least)
	return l
}

// leastRead is the least noise of reading a photosite, in electrons.
const leastRead = 1.5

type patch struct{ mean, variance float64 }

// patchSide is the number of second differences a side of a patch.
const patchSide = 7

// quietShare is the share of patches taken as free of texture, and quietBias what
// the mean of that lowest fifth is of the true variance: for patchSide^2 = 49
// correlated squares of Gaussian noise, found by simulation (TestQuietBias).
const (
	quietShare = 0.2
	quietBias  = 0.588
)

func measurePatch(m *rawfile.Mosaic, x0, y0 int, scale float64) (patch, bool) {
	black := float64(m.Black[y0&1][x0&1])
	top := uint16(0.9 * m.White)
	var sum, sq float64
	for j := 1; j <= patchSide; j++ {
		for i := 1; i <= patchSide; i++ {
			var d float64
			for dy := -1; dy <= 1; dy++ {
				o := (y0+2*(j+dy))*m.W + x0 + 2*i
				a, b, c := m.Pix[o-2], m.Pix[o], m.Pix[o+2]
				if b > top {
					return patch{}, false
				}
				r := float64(a) - 2*float64(b) + float64(c)
				if dy == 0 {
					sum += float64(b)
					d -= 2 * r
				} else {
					d += r
				}
			}
			sq += d * d
		}
	}
	n := float64(patchSide * patchSide)
	return patch{(sum/n - black) * scale, sq / n / 36 * scale * scale}, true
}

func quietest(b []patch) patch {
	sort.Slice(b, func(i, j int) bool { return b[i].variance < b[j].variance })
	b = b[:max(1, int(quietShare*float64(len(b))))]
	var p patch
	for _, q := range b {
		p.mean += q.mean
		p.variance += q.variance
	}
	n := float64(len(b))
	return patch{p.mean / n, p.variance / n / quietBias}
}

// fitLine fits variance = s*mean + o with weights 1/variance^2 (the error of a
// variance is proportional to it), both kept positive. scale is one count.
func fitLine(pts []patch, scale float64) line {
	floor := scale * scale / 12 // rounding to whole counts
	var sw, sx, sy, sxx, sxy float64
	for _, p := range pts {
		v := max(p.variance, floor)
		w := 1 / (v * v)
		sw += w
		sx += w * p.mean
		sy += w * v
		sxx += w * p.mean * p.mean
		sxy += w * p.mean * v
	}
	l := typical
	if det := sw*sxx - sx*sx; len(pts) >= 2 && det > 1e-9*sw*sxx {
		l = line{(sw*sxy - sx*sy) / det, (sxx*sy - sx*sxy) / det}
	}
	if !(l.s > 1e-7) {
		l.s = typical.s
	}
	if !(l.o > floor) {
		l.o = floor
	}
	return l
}

// codeSigma is the error of one sample of a rendered file in 8-bit codes: rounding
// (0.29) and what compression leaves (common practice, no source).
const codeSigma = 1.0

// noise is the mean variance line of the linearised codes of a rendered file. The
// merge itself uses the slope of the curve at every code.
func (c *curves) noise(bits int) [3]line {
	var out [3]line
	for ch := range out {
		var pts []patch
		for _, x := range []float64{0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9} {
			d := c.slope(ch, float32(x)) * codeSigma / 255
			if bits > 8 {
				d /= 2
			}
			pts = append(pts, patch{float64(c.at(ch, float32(x))), float64(d * d)})
		}
		out[ch] = fitLine(pts, 1e-4)
	}
	return out
}

// slope is the derivative of the curve of channel ch at a code.
func (c *curves) slope(ch int, code float32) float32 {
	const d = 0.015
	lo, hi := max(0, code-d), min(1, code+d)
	return max(1e-4, (c.at(ch, hi)-c.at(ch, lo))/(hi-lo))
}
