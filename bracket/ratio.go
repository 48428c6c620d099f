package bracket

import (
	"context"
	"fmt"
	"math"
	"sort"

	"mullion/finding"
)

// maxDeviation is how far, in EV, the pixels may correct what the file says about
// the exposure of a frame: a shutter's tolerance and a lamp's pulsing, not a wrong
// tag.
const maxDeviation = 0.35

// ratios finds every frame's exposure relative to the reference: as the file says,
// refined by the pixels that two frames neighbouring in exposure both show well.
func (m *merger) ratios(ctx context.Context) error {
	r := m.position(m.ref)
	for i := r - 1; i >= 0; i-- {
		m.relate(m.shots[i+1], m.shots[i])
	}
	for i := r + 1; i < len(m.shots); i++ {
		m.relate(m.shots[i-1], m.shots[i])
	}
	for _, s := range m.shots {
		f := &m.out.Frames[s.index]
		f.EV, f.RefinedEV = s.ev-m.ref.ev, s.refined
		if !s.known {
			f.EV = s.refined
		}
	}
	m.sortByRefined()
	for _, s := range m.shots {
		s.gain = exp2(-s.refined)
	}
	return ctx.Err()
}

// sortByRefined keeps the order of exposures true when it was only guessed.
func (m *merger) sortByRefined() {
	sort.SliceStable(m.shots, func(i, j int) bool { return m.shots[i].refined < m.shots[j].refined })
}

// relate sets b's exposure from that of a, which is known.
func (m *merger) relate(a, b *shot) {
	nominal := b.ev - a.ev
	ev, n, spread := measureRatio(a.proof, b.proof, nominal)
	sure := n > 400 && spread/math.Sqrt(float64(n)) < 0.01
	switch {
	case !a.known || !b.known:
		if !sure {
			ev = nominal
			m.note("exposure-unknown", finding.Look, float64(b.index+1), "frame",
				"Frame %d%s does not say how it was exposed and shares too little with the others to measure it; check the brightness of windows and lamps.", b.index+1, name(b.frame))
		}
	case !sure:
		ev = nominal
	case math.Abs(ev-nominal) > maxDeviation:
		m.note("exposure-differs", finding.Look, ev-nominal, "EV",
			"Frame %d%s is %.2f EV %s than its exposure data say: a lamp or the daylight changed while the bracket was taken, or the data are wrong. Check the picture for uneven light.",
			b.index+1, name(b.frame), math.Abs(ev-nominal), brighter(ev-nominal))
		ev = nominal + math.Copysign(maxDeviation, ev-nominal)
	}
	b.refined = a.refined + ev
}

func brighter(d float64) string {
	if d > 0 {
		return "brighter"
	}
	return "darker"
}

// measureRatio returns the median of log2(b/a) over samples that both show well,
// weighed by their certainty, how many there are, and their spread (interquartile,
// as a standard deviation). What a sample is worth is judged by the brighter frame
// alone: judged by its own noise, the darker one would be chosen where it is too
// bright.
func measureRatio(a, b *proof, nominal float64) (ev float64, n int, spread float64) {
	const bins, span = 8192, 16. // 1/256 EV a bin, +-16 EV
	k := exp2(-math.Abs(nominal))
	var hist [bins]float64
	var total float64
	for y := range a.lin.H {
		ra, rb := a.lin.Row(y), b.lin.Row(y)
		for x, va := range ra {
			vb := rb[x]
			if va >= 0.85 || vb >= 0.85 || va <= 0 || vb <= 0 {
				continue
			}
			ea, eb := va, va*k
			if nominal > 0 {
				ea, eb = vb*k, vb
			}
			v := (a.s*ea+a.o)/(ea*ea) + (b.s*eb+b.o)/(eb*eb)
			if v > 1./100 {
				continue
			}
			w := float64(1 / (v + 0.001))
			d := float64(log2(vb) - log2(va))
			i := int((d + span) * bins / (2 * span))
			if i < 0 || i >= bins {
				continue
			}
			hist[i] += w
			total += w
			n++
		}
	}
	if n == 0 {
		return 0, 0, math.Inf(1)
	}
	at := func(q float64) float64 {
		want := q * total
		var sum float64
		for i, h := range hist {
			if sum+h >= want && h > 0 {
				return (float64(i)+(want-sum)/h)*(2*span)/bins - span
			}
			sum += h
		}
		return span
	}
	return at(0.5), n, (at(0.75) - at(0.25)) / 1.349
}

// String helps when a bracket is debugged.
func (s *shot) String() string {
	return fmt.Sprintf("frame %d ev %.2f refined %.3f shift %.2f,%.2f", s.index+1, s.ev, s.refined, s.warp.tx, s.warp.ty)
}
