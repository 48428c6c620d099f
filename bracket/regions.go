package bracket

import (
	"context"
	"math"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// regions says which parts of the picture come from one frame alone.
type regions struct {
	w, h, step int
	from       []uint8         // the shot a sample comes from, darkest 0
	soft       *raster.Plane   // how far, 0 to 1
	any        []bool          // rows that have some
	agree      []*raster.Plane // by shot, how far it agrees with the one a sample comes from; see joiners
}

// How far regions reach beyond what was seen to differ, in proof samples: the
// motion's own faint edge, then the feather.
const (
	reachOf   = 3
	reachSoft = 6
	feather   = 1.4
)

// assign gives every region to a frame: the reference shows what it can when the
// light changed.
func (m *merger) assign(ctx context.Context, core mask, light bool) (*regions, error) {
	r := &regions{w: core.w, h: core.h, step: m.step, from: make([]uint8, len(core.in)),
		soft: raster.New(core.w, core.h), any: make([]bool, core.h)}
	for _, c := range core.grown(reachSoft).components() {
		k := m.position(m.ref)
		if !light {
			k = m.choose(core, c)
		}
		for _, i := range c {
			r.from[i] = uint8(k) + 1
		}
	}
	near := core.grown(reachOf)
	if err := m.spread(ctx, r, near); err != nil {
		return nil, err
	}
	m.lighten(r, near)
	for i, v := range near.in {
		if v {
			r.soft.Pix[i] = 1
		}
	}
	if err := raster.Gauss(ctx, r.soft, r.soft, feather); err != nil {
		return nil, err
	}
	for i, k := range r.from {
		if k == 0 || r.soft.Pix[i] < 1e-3 {
			r.soft.Pix[i] = 0
		} else {
			r.any[i/r.w] = true
		}
	}
	var err error
	if !light {
		r.agree, err = m.joiners(ctx, r)
	}
	return r, err
}

// noiseGood is the relative noise of a proof sample, at full resolution, at which
// the reference is good enough to show a region.
const noiseGood = 0.025

// choose picks the frame for one region: unclipped where things moved, the
// reference if its noise is low enough, else the brightest of the unclipped.
func (m *merger) choose(core mask, c []int32) int {
	clip := make([]float64, len(m.shots))
	least := math.Inf(1)
	for k, s := range m.shots {
		clip[k] = s.clippedIn(core, c)
		least = min(least, clip[k])
	}
	best := 0
	for k, s := range m.shots {
		if clip[k] > least+0.005 {
			continue
		}
		if s == m.ref && m.noiseIn(s, core, c) < noiseGood {
			return k
		}
		best = k
	}
	return best
}

// noiseBad is the relative noise from which a frame shows no more than dots. Rendered
// files are worse than their noise there: they crush what is nearly black.
func (s *shot) noiseBad() float64 {
	if s.frame.Kind == rawfile.KindDisplay {
		return 0.1
	}
	return 0.3
}

// lighten gives samples that their region's frame shows as noise to the next brighter
// frame that sees them unclipped: a region around a lamp takes a frame that shows the
// lamp, in which what lies beside it is black. Where there is none the merge is better.
func (m *merger) lighten(r *regions, near mask) {
	codes := make([]*codeNoise, len(m.shots))
	for k, s := range m.shots {
		if s.frame.Kind == rawfile.KindDisplay && s.curves != nil {
			codes[k] = s.curves.variances(k == len(m.shots)-1)
		}
	}
	for i, k := range r.from {
		for k > 0 && !m.shots[k-1].clear(i%r.w, i/r.w, codes[k-1]) {
			if int(k) == len(m.shots) || !m.shots[k].unclippedAround(i%r.w, i/r.w) {
				near.in[i], k = false, 0
				break
			}
			k++
		}
		r.from[i] = k
	}
}

// clear is true where a frame shows a proof sample as more than dots. codes is the
// noise of a rendered file, whose few codes near black hold no colour; nil for others.
func (s *shot) clear(x, y int, codes *codeNoise) bool {
	v := float64(s.proof.lin.Row(y)[x])
	bad := s.noiseBad() * v
	noise := s.noise[1].at(v)
	if codes != nil {
		noise = max(noise, float64(codes.at(float32(v))))
	}
	return v > 0 && noise < bad*bad
}

// unclippedAround is true when nothing clips in the 3 x 3 samples around one.
func (s *shot) unclippedAround(x, y int) bool {
	p := s.proof.lin
	for j := max(0, y-1); j <= min(p.H-1, y+1); j++ {
		for _, v := range p.Row(j)[max(0, x-1):min(p.W, x+2)] {
			if v >= 0.95 {
				return false
			}
		}
	}
	return true
}

// clippedIn is the share of the moving samples of a region that a frame clips.
func (s *shot) clippedIn(core mask, c []int32) float64 {
	var n, clipped int
	p := s.proof.lin
	for _, i := range c {
		if core.in[i] {
			n++
			if p.Pix[int(i)/core.w*p.Stride+int(i)%core.w] >= 0.95 {
				clipped++
			}
		}
	}
	return float64(clipped) / float64(max(1, n))
}

// noiseIn is the relative noise of one photosite at the lower quartile of a region.
func (m *merger) noiseIn(s *shot, core mask, c []int32) float64 {
	var v []float32
	p := s.proof.lin
	for _, i := range c {
		if core.in[i] {
			v = append(v, p.Pix[int(i)/core.w*p.Stride+int(i)%core.w])
		}
	}
	median32(v)
	x := float64(v[len(v)/4])
	if x <= 0 {
		return math.Inf(1)
	}
	return math.Sqrt(s.noise[1].at(x)) / x
}

// softRow writes the softness of a full-resolution row from column x0 on and returns
// false when it is 0 all along.
func (r *regions) softRow(dst []float32, x0, y int) bool {
	f := (float32(y)+0.5)/float32(r.step) - 0.5
	f = max(0, min(float32(r.h-1), f))
	y0 := int(f)
	y1 := min(r.h-1, y0+1)
	if !r.any[y0] && !r.any[y1] {
		return false
	}
	f -= float32(y0)
	a, b := r.soft.Row(y0), r.soft.Row(y1)
	inv := 1 / float32(r.step)
	for x := range dst {
		g := max(0, min(float32(r.w-1), (float32(x0+x)+0.5)*inv-0.5))
		i := int(g)
		j := min(r.w-1, i+1)
		g -= float32(i)
		dst[x] = (a[i]*(1-g)+a[j]*g)*(1-f) + (b[i]*(1-g)+b[j]*g)*f
	}
	return true
}

// shotAt is the shot of a full-resolution pixel: that of its sample or, at the
// very edge of a region, of a neighbour.
func (r *regions) shotAt(x, y int) int {
	px, py := min(x/r.step, r.w-1), min(y/r.step, r.h-1)
	if k := r.from[py*r.w+px]; k > 0 {
		return int(k) - 1
	}
	for v := max(0, py-1); v <= min(r.h-1, py+1); v++ {
		for u := max(0, px-1); u <= min(r.w-1, px+1); u++ {
			if k := r.from[v*r.w+u]; k > 0 {
				return int(k) - 1
			}
		}
	}
	return 0
}

// patchRow replaces moving photosites of a merged row by those of their frame; where
// that clips, by the next darker. All four photosites of a cell of the pattern change
// the frame together: red from one and green from another would be a coloured ghost.
// here are the rows of the frames, beside those of the cell's other row.
func (r *regions) patchRow(dst, soft []float32, here, beside [][]uint16, values, tables [][4][]term, y int) {
	if !r.softRow(soft, 0, y) {
		return
	}
	for x, f := range soft {
		if f <= 0 {
			continue
		}
		p, q := 2*(y&1), 2*(y&1^1)
		u := x ^ 1
		if u >= len(soft) {
			u = x
		}
		var v float32
		k := r.shotAt(x, y)
		for i := range k + 1 {
			t := &values[i]
			e := valueOf(t[p+x&1], here[i][x])
			if i == 0 {
				v = e.wv
				continue
			}
			w := min(e.w, valueOf(t[p+u&1], here[i][u]).w, valueOf(t[q+x&1], beside[i][x]).w, valueOf(t[q+u&1], beside[i][u]).w)
			v += w * (e.wv - v)
		}
		if r.agree != nil {
			v = r.join(v, k, x, y, func(i int) term { return valueOf(tables[i][p+x&1], here[i][x]) })
		}
		dst[x] += f * (v - dst[x])
	}
}

func valueOf(t []term, count uint16) term { return t[min(int(count), len(t)-1)] }

// touch is true where a part of the picture has moving pixels.
func (r *regions) touch(p rect) bool {
	for y := max(0, p.y0/r.step-1); y <= min(r.h-1, p.y1/r.step+1); y++ {
		if !r.any[y] {
			continue
		}
		for x := max(0, p.x0/r.step-1); x <= min(r.w-1, p.x1/r.step+1); x++ {
			if r.soft.Pix[y*r.soft.Stride+x] > 0 {
				return true
			}
		}
	}
	// Beyond the last whole sample the last one speaks.
	return p.y1/r.step >= r.h || p.x1/r.step >= r.w
}

// unset marks a pixel that no frame has given yet.
var unset = float32(math.Inf(1))

// take builds the picture of the regions frame by frame, darkest first: a brighter
// frame replaces a darker one as far as it is trusted.
func (r *regions) take(t *tile, p picture, part rect, s *shot, i int) {
	soft := t.soft[:part.w()]
	dx, dy := part.x0-t.x0, part.y0-t.y0
	for y := range part.h() {
		if !r.softRow(soft, part.x0, part.y0+y) {
			continue
		}
		var in, out [3][]float32
		for c := range in {
			in[c], out[c] = p.rgb[c].Row(y), t.alone[c].Row(y + dy)[dx:]
		}
		for x, q := range p.trust.Row(y) {
			if soft[x] <= 0 || i > r.shotAt(part.x0+x, part.y0+y) {
				continue
			}
			if out[0][x] == unset {
				if q == 0 && in[1][x] == 0 { // outside of the frame
					continue
				}
				q = 1
				out[0][x], out[1][x], out[2][x] = 0, 0, 0
			}
			q = min(1, q/s.beside()) // here the neighbour of a clipped pixel is as good as any
			for c := range out {
				out[c][x] += q * (in[c][x]*s.gain - out[c][x])
			}
		}
	}
}

// mixRow blends the regions into a merged row of a tile and shows both to the seams,
// when those are looked after.
func (r *regions) mixRow(t *tile, soft []float32, y int, s *seams, clip float32) {
	if !r.softRow(soft, t.x0, t.y0+y) {
		return
	}
	if s != nil {
		s.compare(t, soft, y, clip)
	}
	for c := range t.sum {
		s, a := t.sum[c].Row(y), t.alone[c].Row(y)
		for x, f := range soft {
			if f > 0 && a[x] != unset {
				s[x] += f * (a[x] - s[x])
			}
		}
	}
}
