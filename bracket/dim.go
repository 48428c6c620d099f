package bracket

// dim merges the dimmest samples of one position of the colour pattern again. A
// weight that is read off the sample it weighs prefers what noise made too small: for
// a few electrons that is a bias of one of them (as in a fit that divides by the
// observed instead of the expected counts: Baker & Cousins, Nucl. Instrum. Methods
// 221, 1984), and another for every colour. So the first estimate gives the weights
// of a second.
type dim struct {
	below  float32 // radiance under which it matters
	frames []dimFrame
}

type dimFrame struct{ black, scale, s, o float32 } // variance of a sample in radiance: s*radiance + o

// dimElectrons is the count up to which it is done. From there on the bias, of one
// electron at most, is 0.05 %, and the step where one estimate gives way to the other
// is a fiftieth of the noise.
const dimElectrons = 2000

// dim sets up the four positions of the pattern.
func (m *merger) dim() (all [2][2]dim) {
	if len(m.shots) < 2 {
		return all
	}
	bright := m.shots[len(m.shots)-1]
	for y := range 2 {
		for x := range 2 {
			d := &all[y][x]
			c := bright.frame.Mosaic.CFA[y][x]
			// Only where the brightest frame, and so every one, is far from fading.
			d.below = bright.gain * float32(min(dimElectrons*bright.noise[c].s, 0.25))
			for _, s := range m.shots {
				f := s.frame.Mosaic
				l, b := s.noise[c], f.Black[y][x]
				d.frames = append(d.frames, dimFrame{b, s.gain / (f.White - b), s.gain * float32(l.s), s.gain * s.gain * float32(l.o)})
			}
		}
	}
	return all
}

// again works on every second sample of a row, from column x on.
func (d *dim) again(dst []float32, rows [][]uint16, x int) {
	if len(d.frames) == 0 { // a frame by itself has no weights; below black it must stay as it is
		return
	}
	for ; x < len(dst); x += 2 {
		v := dst[x]
		if v >= d.below {
			continue
		}
		if v < 0 {
			v = 0
		}
		var sum, weight float32
		for i := range d.frames {
			f := &d.frames[i]
			w := 1 / (f.s*v + f.o)
			weight += w
			sum += w * (float32(rows[i][x]) - f.black) * f.scale
		}
		dst[x] = sum / weight
	}
}
