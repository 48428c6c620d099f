package quality

import (
	"context"
	"math"
	"slices"

	"mullion/internal/raster"
)

// Tone is the Tone-Mapped image Quality Index of Yeganeh & Wang (IEEE Trans.
// Image Process. 22, 2013) and its two parts.
type Tone struct {
	Q            float64 // 0.8012 S^0.3046 + 0.1988 N^0.7088
	Fidelity     float64 // S: structure of the radiance that is seen in the picture, 0 to 1
	Naturalness  float64 // N: how usual the picture's mean and contrast are, 0 to 1
	BySpatialCPD [5]float64
}

// The weights of the scales come from multi-scale SSIM (Wang et al. 2003).
var scaleWeights = [5]float64{0.0448, 0.2856, 0.3001, 0.2363, 0.1333}

// TMQI compares a picture with its radiance: luminance in any linear unit, and
// the picture's grey as code values 0 to 255. Both are at least 176 samples high
// and wide.
func TMQI(ctx context.Context, radiance, picture *raster.Plane) (Tone, error) {
	if radiance.W != picture.W || radiance.H != picture.H || min(picture.W, picture.H) < window*16 {
		return Tone{}, ErrSize
	}
	h, l := toField(radiance), toField(picture)
	lo, hi := slices.Min(h.v), slices.Max(h.v)
	if hi > lo { // the paper's fixed scale for radiance, 0 to 2^32 - 1
		s := (math.Exp2(32) - 1) / (hi - lo)
		for i, v := range h.v {
			h.v[i] = (v - lo) * s
		}
	}
	t := Tone{Fidelity: 1, Naturalness: naturalness(l)}
	for i, weight := range scaleWeights {
		m, err := measure(ctx, h, l)
		if err != nil {
			return t, err
		}
		s := fidelity(m, math.Exp2(float64(4-i)))
		t.BySpatialCPD[i] = s
		t.Fidelity *= math.Pow(max(s, 0), weight)
		h, l = h.halve(), l.halve()
	}
	t.Q = 0.8012*math.Pow(t.Fidelity, 0.3046) + (1-0.8012)*math.Pow(t.Naturalness, 0.7088)
	return t, nil
}

// fidelity is the mean local structural fidelity at a spatial frequency in
// cycles a degree. A local deviation counts by the probability that it is seen:
// a cumulative normal around the threshold that the contrast sensitivity of
// Mannos & Sakrison (1974) gives.
func fidelity(m moments, cpd float64) float64 {
	const c1, c2 = 0.01, 10
	sensitivity := 100 * 2.6 * (0.0192 + 0.114*cpd) * math.Exp(-math.Pow(0.114*cpd, 1.1))
	threshold := 128 / (1.4 * sensitivity)
	seen := func(sd float64) float64 { return normal((sd - threshold) / (threshold / 3)) }
	var sum float64
	for i := range m.vx.v {
		a, b := math.Sqrt(m.vx.v[i]), math.Sqrt(m.vy.v[i])
		p, q := seen(a), seen(b)
		sum += (2*p*q + c1) / (p*p + q*q + c1) * (m.cov.v[i] + c2) / (a*b + c2)
	}
	return sum / float64(len(m.vx.v))
}

func normal(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// naturalness is the product of a Gaussian of the mean code (115.94, 27.99) and
// a Beta density of the contrast (4.4, 10.1), each relative to its peak; contrast
// is the mean deviation of 11 x 11 blocks over 64.29.
func naturalness(l field) float64 {
	const a, b = 4.4, 10.1
	mean := math.Exp(-sq((l.mean()-115.94)/27.99) / 2)
	var sd, n float64
	for y := 0; y+window <= l.h; y += window {
		for x := 0; x+window <= l.w; x += window {
			sd += blockDeviation(l, x, y)
			n++
		}
	}
	c := sd / n / 64.29
	if c <= 0 || c >= 1 {
		return 0
	}
	beta := func(x float64) float64 { return math.Pow(x, a-1) * math.Pow(1-x, b-1) }
	return mean * beta(c) / beta((a-1)/(a+b-2))
}

func blockDeviation(l field, x0, y0 int) float64 {
	var s, ss float64
	for y := y0; y < y0+window; y++ {
		for _, v := range l.v[y*l.w+x0 : y*l.w+x0+window] {
			s += v
			ss += v * v
		}
	}
	n := float64(window * window)
	return math.Sqrt(max(0, (ss-s*s/n)/(n-1)))
}

func sq(x float64) float64 { return x * x }
