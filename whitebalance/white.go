package whitebalance

import (
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
	alike     = 0.06  // paints closer than this in log chroma look alike (about dE 3)
	duvSpread = 0.010 // lights of rooms lie this near the Planckian locus
)

// findWhite decides which paint is white. It returns the offset that added to
// the relative lights gives lights, and how sure it is, 0..1.
func (t *tally) findWhite() (chroma, float64) {
	best, bestScore := t.mean, math.Inf(-1)
	for _, s := range t.all {
		if s.share < 0.004 {
			continue
		}
		d := t.shift(s.paint.chroma())
		if score := t.score(d); score > bestScore {
			best, bestScore = d, score
		}
	}
	return best, math.Min(1, 2.5*t.support(best))
}

func priorChroma(p Prior) chroma {
	if p.XY[0] > 0 && p.XY[1] > 0 {
		return chromaOf(colour.XY{X: p.XY[0], Y: p.XY[1]})
	}
	return chroma{}
}

// tally counts the surfaces' votes.
type tally struct {
	all    []surface
	vote   []float64 // weight of each surface; they sum to one
	light  chroma    // mean relative light, by area
	mean   chroma    // mean paint by vote
	bright float64   // ln luminance of the brightest paints
	prior  Prior
}

func newTally(all []surface, prior Prior) *tally {
	t := &tally{all: all, vote: make([]float64, len(all)), prior: prior}
	t.bright = brightPaint(all)
	var area, votes float64
	for i, s := range all {
		t.light = t.light.plus(s.mean.chroma().minus(s.paint.chroma()).times(float64(s.area)))
		area += float64(s.area)
		// A surface as bright as the brightest has a full vote; one of half the
		// reflectance a third of it.
		t.vote[i] = float64(s.area) * math.Exp(1.6*math.Min(0, s.paint[2]-t.bright))
		votes += t.vote[i]
	}
	t.light = t.light.times(1 / area)
	for i, s := range all {
		t.vote[i] /= votes
		t.mean = t.mean.plus(s.paint.chroma().times(t.vote[i]))
	}
	return t
}

// brightPaint is the 85th percentile of paint luminance by area: what white
// surfaces have in any room that has some.
func brightPaint(all []surface) float64 {
	order := make([]int, len(all))
	total := 0
	for i := range order {
		order[i] = i
		total += all[i].area
	}
	slices.SortFunc(order, func(i, j int) int {
		if all[i].paint[2] < all[j].paint[2] {
			return -1
		}
		return 1
	})
	sum := 0
	for _, i := range order {
		sum += all[i].area
		if float64(sum) >= 0.85*float64(total) {
			return all[i].paint[2]
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
		for i, s := range t.all {
			k := t.vote[i] * kernel(s.paint.chroma().minus(d), alike)
			sum = sum.plus(s.paint.chroma().times(k))
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
	for i, s := range t.all {
		w += t.vote[i] * kernel(s.paint.chroma().minus(d), alike)
	}
	return w
}

// score weighs the candidate white d: the votes for it, less the bright surfaces
// it would turn blue or green (paints brighter than white and cold are rare;
// wood, brick and cream are common), times how likely its lights are.
func (t *tally) score(d chroma) float64 {
	level, w := t.whiteLevel(d), t.support(d)
	var cold float64
	for i, s := range t.all {
		p := s.paint.chroma().minus(d)
		if s.paint[2] < level-0.15 {
			continue
		}
		cold += t.vote[i] * math.Min(1, math.Max(0, p[1]-p[0]-0.05)/0.15)
	}
	return (w - 0.8*cold + 0.02) * t.likely(t.light.plus(d))
}

// likely is the prior probability, up to a factor, of the mean light c.
func (t *tally) likely(c chroma) float64 {
	kelvin, duv := colour.CCT(c.xy())
	p := gauss(duv, duvSpread)
	m := 1e6 / kelvin
	p *= gauss(math.Max(0, m-450), 30) * gauss(math.Max(0, 100-m), 20)
	switch {
	case t.prior.Rendered:
		d65 := chromaOf(colour.D65)
		p *= 0.02 + kernel(c.minus(d65), 0.12)
	case t.prior.XY[0] > 0:
		p *= 0.3 + kernel(c.minus(priorChroma(t.prior)), 0.3)
	}
	return p * t.prior.Shoot.likely(kelvin, duv)
}

func gauss(x, s float64) float64 { return math.Exp(-x * x / (2 * s * s)) }
