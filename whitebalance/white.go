package whitebalance

import (
	"cmp"
	"math"
	"slices"

	"mullion/colour"
)

// chroma is ln(R/G), ln(B/G) of a light or a paint.
type chroma [2]float64

func (a logRGB) chroma() chroma { return chroma{a[0], a[1]} }

func (a chroma) minus(b chroma) chroma { return chroma{a[0] - b[0], a[1] - b[1]} }
func (a chroma) plus(b chroma) chroma  { return chroma{a[0] + b[0], a[1] + b[1]} }
func (a chroma) times(f float64) chroma {
	return chroma{a[0] * f, a[1] * f}
}

// chromaOf is the picture's colour of a white surface under the light xy.
func chromaOf(xy colour.XY) chroma {
	rgb := colour.XYZToBT2020.Apply(xy.XYZ())
	return chroma{math.Log(math.Max(rgb[0], 1e-3) / rgb[1]), math.Log(math.Max(rgb[2], 1e-3) / rgb[1])}
}

// xy is the chromaticity of the light in which white has the colour c.
func (a chroma) xy() colour.XY {
	return colour.Chromaticity(colour.BT2020ToXYZ.Apply(colour.Vec3{math.Exp(a[0]), 1, math.Exp(a[1])}))
}

const (
	alike = 0.06 // paints closer than this in log chroma look alike (about dE 3)
)

// findWhite decides which paint is white. It returns the offset that added to
// the relative lights gives lights, and how sure it is, 0..1.
func (t *tally) findWhite() (chroma, float64) {
	best, bestScore := t.mean, math.Inf(-1)
	for _, c := range t.candidates() {
		if c.score > bestScore {
			best, bestScore = c.white, c.score
		}
	}
	return best, math.Min(1, 2.5*t.support(best))
}

// candidate is a paint that may be the white one.
type candidate struct {
	white chroma
	score float64
}

// candidates are the paints around which surfaces gather, none twice.
func (t *tally) candidates() []candidate {
	var out []candidate
	for _, p := range t.Paints {
		if p.Share < 0.004 {
			continue
		}
		d := t.shift(p.chroma())
		if slices.ContainsFunc(out, func(c candidate) bool { return math.Hypot(c.white[0]-d[0], c.white[1]-d[1]) < alike/8 }) {
			continue
		}
		out = append(out, candidate{d, t.score(d)})
	}
	return out
}

func priorChroma(xy [2]float64) chroma {
	if xy[0] > 0 && xy[1] > 0 {
		return chromaOf(colour.XY{X: xy[0], Y: xy[1]})
	}
	return chroma{}
}

// tally counts the votes of a view's paints.
type tally struct {
	*Evidence
	vote   []float64 // weight of each paint; they sum to one
	light  chroma    // mean relative light
	mean   chroma    // mean paint by vote
	bright float64   // ln luminance of the brightest paints
}

func newTally(e *Evidence) *tally {
	t := &tally{Evidence: e, vote: make([]float64, len(e.Paints)), bright: brightPaint(e.Paints)}
	for _, l := range e.Lights {
		t.light = t.light.plus(chroma(l).times(1. / float64(len(e.Lights))))
	}
	var votes float64
	for i, p := range e.Paints {
		// A surface as bright as the brightest has a full vote; one of half the
		// reflectance a quarter of it.
		t.vote[i] = p.weight() * math.Exp(2*math.Min(0, p.Lum-t.bright))
		votes += t.vote[i]
	}
	for i, p := range e.Paints {
		t.vote[i] /= math.Max(votes, 1e-12)
		t.mean = t.mean.plus(p.chroma().times(t.vote[i]))
	}
	return t
}

// brightPaint is the 85th percentile of paint luminance by area: what white
// surfaces have in any room that has some.
func brightPaint(all []Paint) float64 {
	order := slices.Clone(all)
	slices.SortStableFunc(order, func(a, b Paint) int { return cmp.Compare(a.Lum, b.Lum) })
	total, sum := 0.0, 0.0
	for _, p := range order {
		total += p.Share
	}
	for _, p := range order {
		if sum += p.Share; sum >= 0.85*total {
			return p.Lum
		}
	}
	return 0
}

func kernel(a chroma, width float64) float64 {
	return math.Exp(-(a[0]*a[0] + a[1]*a[1]) / (2 * width * width))
}

// shift moves d to the centre of the paints around it (mean shift).
func (t *tally) shift(d chroma) chroma {
	for range 8 {
		var sum chroma
		var w float64
		for i, p := range t.Paints {
			k := t.vote[i] * kernel(p.chroma().minus(d), alike)
			sum = sum.plus(p.chroma().times(k))
			w += k
		}
		if w <= 0 {
			break
		}
		d = sum.times(1 / w)
	}
	return d
}

// support is the share of the votes whose paint is like d.
func (t *tally) support(d chroma) float64 {
	var w float64
	for i, p := range t.Paints {
		w += t.vote[i] * kernel(p.chroma().minus(d), alike)
	}
	return w
}

// score weighs the candidate white d: the votes for it, less the bright surfaces
// it would turn blue or green (paints brighter than white and cold are rare;
// wood, brick and cream are common), times how likely its lights are.
func (t *tally) score(d chroma) float64 {
	level, w := t.whiteLevel(d), t.support(d)
	var cold float64
	for i, p := range t.Paints {
		if p.Lum < level-0.15 {
			continue
		}
		c := p.chroma().minus(d)
		cold += t.vote[i] * math.Min(1, math.Max(0, c[1]-c[0]-0.05)/0.15)
	}
	return (w - 1.2*cold + 0.02) * t.likely(t.light.plus(d)) * t.likelyLamp(d)
}

// likelyLamp is how likely, up to a factor, the warmest of the view's light is by its
// distance above the locus, if white is d. The mean of a view's light may be green where a
// garden shines in; lamps seldom are: ANSI C78.377 keeps them within 0.006 of the locus
// (from memory), and warm walls pull them a little below. So mint walls are paint.
func (t *tally) likelyLamp(d chroma) float64 {
	kelvin, duv := colour.CCT(chroma(t.Lights[0]).plus(d).xy())
	warm := ramp(1e6/kelvin, 220, 280)
	return 1 - warm + warm*gauss(math.Max(0, duv+0.0015), 0.006)
}

// likely is the prior probability, up to a factor, of the mean light c.
func (t *tally) likely(c chroma) float64 {
	kelvin, duv := colour.CCT(c.xy())
	p := likelyDuv(kelvin, duv)
	m := 1e6 / kelvin
	p *= gauss(math.Max(0, m-450), 30) * gauss(math.Max(0, 100-m), 20)
	switch {
	case t.Rendered:
		d65 := chromaOf(colour.D65)
		p *= 0.02 + kernel(c.minus(d65), 0.12)
	case t.AsShot[0] > 0:
		// Cameras err by some 40 mired in mixed light: common practice, no source.
		p *= 0.02 + kernel(c.minus(priorChroma(t.AsShot)), 0.2)
	}
	return p
}

func gauss(x, s float64) float64 { return math.Exp(-x * x / (2 * s * s)) }

// weight is how much a paint counts by where and how often it is seen. Many surfaces of
// one paint (trim, doors, fronts, tiles) tell more than one of the same area, and what
// is high up is more often a ceiling: common practice, no source.
func (p Paint) weight() float64 {
	return math.Pow(p.Share, 0.8) * math.Pow(p.Pieces, 0.2) * (1 + 0.5*ramp(p.Height, 0.5, 0.9))
}

// likelyDuv is how likely, up to a factor, a light is by its distance from the Planckian
// locus. Lamps lie within 0.006 of it (the tolerance of ANSI C78.377, from memory), and
// warm bounced light a little below. Daylight lies 0.003 above it, and more when it comes
// in over a lawn.
func likelyDuv(kelvin, duv float64) float64 {
	warm := ramp(1e6/kelvin, 180, 300)
	return gauss(duv-(0.0015-0.0025*warm), 0.008-0.002*warm)
}
