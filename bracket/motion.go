package bracket

import (
	"context"

	"mullion/finding"
	"mullion/internal/raster"
	"mullion/rawfile"
)

// Thresholds of the disagreement between two frames, in expected deviations: a
// region starts above seed and grows down to grow.
const (
	seedAt = 5
	growAt = 2.5
)

// What two frames may differ by although nothing moved.
const (
	rawTolerance     = 0.03 // share of the value: ratio, flare, evenness of the sites
	displayTolerance = 0.05 // the recovered response is not exact
	assumedTolerance = 0.10 // one that was only assumed even less
	stillEdge        = 0.08 // samples of misalignment
	movedEdge        = 0.1
)

// tooMuch is the share of the picture above which a disagreement is no motion: the
// light changed, and the picture is shown in that of the reference as far as that
// sees it, since a mixture of two lights never was.
const tooMuch = 0.35

// motion finds regions where frames disagree by more than their noise, and gives
// each region to one frame.
func (m *merger) motion(ctx context.Context) error {
	if len(m.shots) < 2 {
		return ctx.Err()
	}
	w, h := m.ref.proof.lin.W, m.ref.proof.lin.H
	most := raster.New(w, h)
	base := m.baseFrames()
	for i := range m.shots {
		if err := m.disagree(ctx, most, base, i); err != nil {
			return err
		}
	}
	core := hysteresis(most, seedAt, growAt, max(12, w*h/40000))
	raster.Put(most)
	share := core.share()
	if share == 0 {
		return ctx.Err()
	}
	var err error
	if m.moved, err = m.assign(ctx, core, share > tooMuch); err != nil {
		return err
	}
	if share > tooMuch {
		m.note("light-changed", finding.Look, share, "share",
			"%s of the picture differs between the frames by more than their exposures: a lamp or the daylight changed while the bracket was taken. The picture shows the light of frame %d%s where that sees it. Check windows and shadows for uneven light, or take the view again.", percent(share), m.ref.index+1, name(m.ref.frame))
		return ctx.Err()
	}
	sev, do := finding.Note, "Nothing to do."
	if share > 0.03 {
		sev, do = finding.Look, "Look for shapes that are cut off where two regions meet."
	}
	m.note("moving", sev, share, "share",
		"%s of the picture moved while the bracket was taken; each moving region is shown as one frame saw it. %s", percent(share), do)
	return ctx.Err()
}

// sees is true where a frame shows a sample well enough to compare it.
func (s *shot) sees(v float32) bool {
	if s.frame.Kind == rawfile.KindDisplay {
		return v > 0.008 && v < 0.75
	}
	return v < 0.9 && v > 0 && v*v > 16*(s.proof.s*v+s.proof.o)
}

// baseFrames is, for every sample, the shot that the others are compared with: the
// reference where it sees, else the nearest in exposure that does; 255 where none
// does.
func (m *merger) baseFrames() []uint8 {
	w, h := m.ref.proof.lin.W, m.ref.proof.lin.H
	base := make([]uint8, w*h)
	for i := range base {
		base[i] = 255
	}
	order := append([]*shot{m.ref}, m.outward()...)
	for _, s := range order {
		k := uint8(m.position(s))
		for y := range h {
			b := base[y*w : y*w+w]
			for x, v := range s.proof.lin.Row(y) {
				if b[x] == 255 && s.sees(v) {
					b[x] = k
				}
			}
		}
	}
	return base
}

// disagree raises most to the disagreement of shot i with the base, in expected
// deviations, over 3 x 3 samples: noise averages out there, what moved does not.
func (m *merger) disagree(ctx context.Context, most *raster.Plane, base []uint8, i int) error {
	w, h := most.W, most.H
	d, v, tol := raster.Get(w, h), raster.Get(w, h), raster.Get(w, h)
	defer raster.Put(d, v, tol)
	tones := make([]*tone, len(m.shots))
	if m.ref.frame.Kind == rawfile.KindDisplay {
		for k := range tones {
			tones[k] = m.toneBetween(base, i, k)
		}
	}
	if err := raster.Bands(ctx, h, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			m.differRow(d.Row(y), v.Row(y), tol.Row(y), base[y*w:y*w+w], tones, i, y)
		}
	}); err != nil {
		return err
	}
	return raster.Bands(ctx, h, func(y0, y1 int) {
		for y := max(1, y0); y < min(h-1, y1); y++ {
			out := most.Row(y)
			d0, d1, d2 := d.Row(y-1), d.Row(y), d.Row(y+1)
			v0, v1, v2 := v.Row(y-1), v.Row(y), v.Row(y+1)
			t0, t1, t2 := tol.Row(y-1), tol.Row(y), tol.Row(y+1)
			for x := 1; x < w-1; x++ {
				if t1[x] == 0 {
					continue
				}
				sd := d0[x-1] + d0[x] + d0[x+1] + d1[x-1] + d1[x] + d1[x+1] + d2[x-1] + d2[x] + d2[x+1]
				st := t0[x-1] + t0[x] + t0[x+1] + t1[x-1] + t1[x] + t1[x+1] + t2[x-1] + t2[x] + t2[x+1]
				if abs(sd) <= growAt*st {
					continue
				}
				sv := v0[x-1] + v0[x] + v0[x+1] + v1[x-1] + v1[x] + v1[x+1] + v2[x-1] + v2[x] + v2[x+1]
				if z := abs(sd) / sqrt(sv+st*st); z > out[x] {
					out[x] = z
				}
			}
		}
	})
}

// differRow writes the difference of shot i from the base, its variance and the
// tolerance; all 0 where they can't be compared.
func (m *merger) differRow(d, v, tol []float32, base []uint8, tones []*tone, i, y int) {
	s := m.shots[i]
	part, edge := float32(rawTolerance), float32(stillEdge)
	if s.frame.Kind == rawfile.KindDisplay {
		part = displayTolerance
		if !m.recovered {
			part = assumedTolerance
		}
	}
	if !m.still {
		edge = movedEdge
	}
	row := s.proof.lin.Row(y)
	up, down := s.proof.lin.Row(max(0, y-1)), s.proof.lin.Row(min(s.proof.lin.H-1, y+1))
	for x, a := range row {
		d[x], v[x], tol[x] = 0, 0, 0
		k := int(base[x])
		if k == 255 || k == i || !s.sees(a) {
			continue
		}
		b := m.shots[k]
		rb := b.proof.lin.Row(y)
		l, r := max(0, x-1), min(len(row)-1, x+1)
		g := s.gain
		va, vb := a*g, rb[x]*b.gain
		if tones[k] != nil {
			va = tones[k].level(va, vb)
		}
		// The steeper of the two pictures of the edge says how much a small shift does.
		slope := g * max(abs(row[r]-a), abs(row[l]-a), abs(up[x]-a), abs(down[x]-a))
		d[x] = va - vb
		v[x] = g*g*(s.proof.s*a+s.proof.o) + b.gain*b.gain*(b.proof.s*rb[x]+b.proof.o)
		tol[x] = part*max(va, vb) + edge*slope
		if s.bloom != nil {
			tol[x] += s.bloom.Row(y)[x]
		}
		if b.bloom != nil {
			tol[x] += b.bloom.Row(y)[x]
		}
	}
}
