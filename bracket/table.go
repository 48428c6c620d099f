package bracket

import "mullion/rawfile"

// term is what one sample of one frame adds to the merge: its weight and its
// weighted radiance.
type term struct{ w, wv float32 }

// table holds the term of every count a photosite can give, so that the merge is
// a look-up and two additions. Weights are t^2/Var(y) (Hasinoff, Durand &
// Freeman, CVPR 2010; Granados et al., CVPR 2010) times the fade towards clipping.
func (s *shot) table(x, y int, darkest bool) []term {
	m := s.frame.Mosaic
	c := int(m.CFA[y][x])
	black, span := float64(m.Black[y][x]), float64(m.White-m.Black[y][x])
	gain := float64(s.gain)
	f, l := s.fade(c), s.noise[c]
	t := make([]term, tableSize(m))
	for i := range t {
		v := (float64(i) - black) / span
		w := f.at(v) / (gain * gain * l.at(v))
		if darkest {
			// The last to clip: where nothing else is left it gives its clipping point.
			w = max(w, 1e-6/(gain*gain*l.at(1)))
		}
		t[i] = term{float32(w), float32(w * min(1, v) * gain)}
	}
	return t
}

// tableSize covers the counts up to the white level; everything above counts as
// the last entry.
func tableSize(m *rawfile.Mosaic) int { return min(65536, int(m.White)+2) }

// tables are the four tables of a frame by position in the 2 x 2 cell; positions
// with the same calibration share one, which keeps them in the cache.
func (s *shot) tables(darkest bool) [4][]term {
	m := s.frame.Mosaic
	var all [4][]term
	for p := range 4 {
		for q := range p {
			if m.Black[p>>1][p&1] == m.Black[q>>1][q&1] && s.noise[m.CFA[p>>1][p&1]] == s.noise[m.CFA[q>>1][q&1]] {
				all[p] = all[q]
			}
		}
		if all[p] == nil {
			all[p] = s.table(p&1, p>>1, darkest)
		}
	}
	return all
}

// values tables the radiance and the trust (0..1) of every count, for regions
// where one frame stands alone.
func (s *shot) values() [4][]term {
	m := s.frame.Mosaic
	var all [4][]term
	for p := range 4 {
		c := m.CFA[p>>1][p&1]
		black := float64(m.Black[p>>1][p&1])
		span := float64(m.White) - black
		f := s.fade(int(c))
		t := make([]term, tableSize(m))
		for i := range t {
			v := (float64(i) - black) / span
			t[i] = term{float32(f.at(v)), float32(min(1, v)) * s.gain}
		}
		all[p] = t
	}
	return all
}
