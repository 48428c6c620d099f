package bracket

// spare is the share of the weight below which a frame is not worth interpolating:
// without it the noise grows by half of that.
const spare = 0.08

// wholly is the value up to which a proof sample without a clipped photosite is sure
// to be used whole; above, single photosites may begin to fade.
const wholly = 0.5

// needs is the part of a tile that every shot is needed for: around the samples in
// which it holds more than spare of the weight, as far as the proofs can tell, and
// what the moving regions show of it. Of five frames 2 EV apart about two are left;
// the others see nothing there, or only what a brighter one sees better.
func (m *merger) needs(tile rect) []rect {
	w, h := m.ref.proof.lin.W, m.ref.proof.lin.H
	x0, x1 := max(0, tile.x0/m.step-1), min(w, tile.x1/m.step+2)
	y0, y1 := max(0, tile.y0/m.step-1), min(h, tile.y1/m.step+2)
	// Beyond the last whole sample the last one speaks.
	x0, y0 = min(x0, w-1), min(y0, h-1)
	parts := make([]rect, len(m.shots))
	seen, need := make([]sight, len(m.shots)), make([]bool, len(m.shots))
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			for k, s := range m.shots {
				seen[k], need[k] = s.sight(x, y), false
			}
			m.needAt(need, seen)
			if m.moved != nil {
				m.moved.needAt(need, seen, y*w+x)
			}
			for k, n := range need {
				if n {
					parts[k] = parts[k].with(x, y)
				}
			}
		}
	}
	for k, p := range parts {
		if p.w() > 0 {
			parts[k] = tile.of(rect{p.x0 - 1, p.y0 - 1, p.x1 + 1, p.y1 + 1}, m.step, w, h)
		}
	}
	return parts
}

// with is r grown to hold a sample.
func (r rect) with(x, y int) rect {
	if r.w() == 0 {
		return rect{x, y, x + 1, y + 1}
	}
	return rect{min(r.x0, x), min(r.y0, y), max(r.x1, x+1), max(r.y1, y+1)}
}

// of is the part of a tile that lies under samples; the last ones also stand for
// what is left of the picture beside them.
func (r rect) of(p rect, step, w, h int) rect {
	q := rect{max(r.x0, p.x0*step), max(r.y0, p.y0*step), min(r.x1, p.x1*step), min(r.y1, p.y1*step)}
	if p.x1 >= w {
		q.x1 = r.x1
	}
	if p.y1 >= h {
		q.y1 = r.y1
	}
	return q
}

// sight is how a shot sees a proof sample: the largest and the smallest weight its
// pixels may get, 0 and 0 where all of it clips.
type sight struct{ most, least float32 }

func (s *shot) sight(x, y int) sight {
	p := s.proof.lin
	v := p.Row(y)[x]
	clipped, n := 0, 0
	for j := max(0, y-1); j <= min(p.H-1, y+1); j++ {
		for _, q := range p.Row(j)[max(0, x-1):min(p.W, x+2)] {
			n++
			if q >= saturated {
				clipped++
			}
		}
	}
	if clipped == n {
		return sight{}
	}
	// Of a part that clips nobody knows the rest: it counts as dark, where weights
	// are largest.
	if v >= saturated {
		v = 0
	}
	if v < 0 {
		v = 0
	}
	variance := s.gain * s.gain * float32(s.noise[1].at(float64(v)))
	if s.bloom != nil {
		e := s.bloom.Row(y)[x]
		variance += e * e
	}
	k := 1 / variance
	if clipped > 0 || v > wholly {
		return sight{k, 0}
	}
	return sight{k, k}
}

func (m *merger) needAt(need []bool, seen []sight) {
	var least float32
	for _, v := range seen {
		least += v.least
	}
	for k, v := range seen {
		// The last to clip, and the only one that surely covers the picture, stand in
		// where no other is left.
		if v.most == 0 && least == 0 && (k == 0 || m.shots[k] == m.ref) {
			need[k] = true
		}
		if v.most > spare*(v.most+least-v.least) {
			need[k] = true
		}
	}
}

// needAt asks for the frame that shows a moving sample, and where that may clip for
// the next darker ones.
func (r *regions) needAt(need []bool, seen []sight, i int) {
	if r.from[i] == 0 || r.soft.Pix[i] == 0 {
		return
	}
	for k := int(r.from[i]) - 1; k >= 0; k-- {
		need[k] = true
		if seen[k].least > 0 {
			return
		}
	}
}
