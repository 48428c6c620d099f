package whitebalance

import (
	"cmp"
	"math"
	"slices"
)

// Evidence is all that a view has to say about its light, apart from where the light
// falls: some kilobytes that can be kept and compared with the evidence of other
// views. It comes back from JSON as it was, to the last bit.
//
// Colours are ln(R/G), ln(B/G) in linear BT.2020. A light is known up to one constant,
// the paint that is white: a light of the view is one of Lights plus White.
type Evidence struct {
	// Lights are the means of the tenths of the view's light, warmest first, less
	// the white. Each tenth is one of area and of light.
	Lights [10][2]float64 `json:"lights"`
	// Paints are the paints of the surfaces seen, like ones together, largest first.
	Paints []Paint `json:"paints"`
	// White is the paint that this view alone takes for white, and Confidence how
	// sure it is, 0..1.
	White      [2]float64 `json:"white"`
	Confidence float64    `json:"confidence"`
	// AsShot and Rendered are those of the [Prior] given.
	AsShot   [2]float64 `json:"as_shot"`
	Rendered bool       `json:"rendered,omitempty"`
}

// Paint is the colour of some surfaces under light that is the same for all: known up
// to a constant, see [Evidence].
type Paint struct {
	Chroma [2]float64 `json:"chroma"` // ln(R/G), ln(B/G)
	Lum    float64    `json:"lum"`    // ln luminance, relative to the other paints
	Share  float64    `json:"share"`  // of the view's area
	Pieces float64    `json:"pieces"` // how many surfaces have it, as far as they are of one size
	Height float64    `json:"height"` // of its middle: 0 is the bottom of the picture, 1 the top
}

func (p Paint) chroma() chroma { return p.Chroma }

// oneKind is how near in log chroma, and about a sixth of it in ln luminance, two
// surfaces' paints are to be kept as one.
const oneKind = 0.012

// gather makes the evidence of surfaces whose paints have been separated.
func (v *view) gather(all []surface, prior Prior) *Evidence {
	e := &Evidence{AsShot: prior.XY, Rendered: prior.Rendered, Paints: paintsOf(all)}
	e.Lights = v.tenths(all)
	return e
}

// paintsOf lists the paints of surfaces, largest first.
func paintsOf(all []surface) []Paint {
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return all[j].area - all[i].area })
	var out []Paint
	var squares []float64 // sums of squared shares, for Pieces
	for _, i := range order {
		s := &all[i]
		k := slices.IndexFunc(out, func(p Paint) bool {
			d := p.chroma().minus(s.paint.chroma())
			l := (p.Lum - s.paint[2]) / 6
			return d[0]*d[0]+d[1]*d[1]+l*l < oneKind*oneKind
		})
		if k < 0 {
			out = append(out, Paint{Chroma: s.paint.chroma(), Lum: s.paint[2], Share: s.share, Height: s.height})
			squares = append(squares, s.share*s.share)
			continue
		}
		p := &out[k]
		f := s.share / (p.Share + s.share)
		p.Chroma = p.chroma().plus(s.paint.chroma().minus(p.chroma()).times(f))
		p.Lum += f * (s.paint[2] - p.Lum)
		p.Height += f * (s.height - p.Height)
		p.Share += s.share
		squares[k] += s.share * s.share
	}
	for k := range out {
		out[k].Pieces = out[k].Share * out[k].Share / squares[k]
	}
	slices.SortStableFunc(out, func(a, b Paint) int { return cmp.Compare(b.Share, a.Share) })
	return out
}

// lightSample is the light at one place.
type lightSample struct {
	c      chroma
	along  float64 // towards daylight
	weight float64
}

// tenths are the means of the tenths of the relative light, warmest first.
func (v *view) tenths(all []surface) (out [10][2]float64) {
	var samples []lightSample
	step := max(1, v.w*v.h/6000)
	var mean chroma
	var total float64
	for i := 0; i < v.w*v.h; i += step {
		if v.label[i] < 0 {
			continue
		}
		c := v.at(i).chroma().minus(all[v.label[i]].paint.chroma())
		w := v.worth(i)
		samples = append(samples, lightSample{c: c, weight: w})
		mean = mean.plus(c.times(w))
		total += w
	}
	if total == 0 {
		return out
	}
	// The line of lights hardly turns with the constant that is still open.
	along := lightLine(mean.times(1 / total).plus(meanChroma(all)))
	for i := range samples {
		samples[i].along = samples[i].c[0]*along[0] + samples[i].c[1]*along[1]
	}
	slices.SortStableFunc(samples, func(a, b lightSample) int { return cmp.Compare(a.along, b.along) })
	var sum [10]chroma
	var weight [10]float64
	done := 0.0
	for _, s := range samples {
		k := min(9, int(10*(done+s.weight/2)/total))
		sum[k] = sum[k].plus(s.c.times(s.weight))
		weight[k] += s.weight
		done += s.weight
	}
	for k := range out {
		if weight[k] > 0 {
			out[k] = sum[k].times(1 / weight[k])
		} else if k > 0 {
			out[k] = out[k-1]
		}
	}
	return out
}

// worth is how much the light at pixel i counts: something between counting area
// and counting light.
func (v *view) worth(i int) float64 {
	return math.Exp(0.5 * math.Min(2, float64(v.c[2][i])-v.median))
}

func meanChroma(all []surface) (m chroma) {
	var area float64
	for i := range all {
		m = m.plus(all[i].paint.chroma().times(float64(all[i].area)))
		area += float64(all[i].area)
	}
	return m.times(1 / math.Max(area, 1))
}
