package check

// patch is a connected set of pixels of a mask.
type patch struct {
	pix            []int32
	x0, y0, x1, y1 int // bounds, the latter excluded
}

// patches returns the connected parts of a mask of width w, largest first not
// guaranteed. Diagonal neighbours are connected.
func patches(in []bool, w int) []patch {
	h := len(in) / w
	done := make([]bool, len(in))
	var out []patch
	for i, is := range in {
		if !is || done[i] {
			continue
		}
		p := patch{x0: w, y0: h}
		done[i] = true
		p.pix = append(p.pix, int32(i))
		for k := 0; k < len(p.pix); k++ {
			x, y := int(p.pix[k])%w, int(p.pix[k])/w
			p.x0, p.x1 = min(p.x0, x), max(p.x1, x+1)
			p.y0, p.y1 = min(p.y0, y), max(p.y1, y+1)
			for v := max(0, y-1); v <= min(h-1, y+1); v++ {
				for u := max(0, x-1); u <= min(w-1, x+1); u++ {
					if j := v*w + u; in[j] && !done[j] {
						done[j] = true
						p.pix = append(p.pix, int32(j))
					}
				}
			}
		}
		out = append(out, p)
	}
	return out
}

// grown returns the mask grown by r pixels each way, as squares.
func grown(in []bool, w, r int) []bool {
	h := len(in) / w
	wide, out := make([]bool, len(in)), make([]bool, len(in))
	for y := range h {
		last := -1 << 30
		for x := range w {
			if in[y*w+x] {
				last = x
			}
			wide[y*w+x] = x-last <= r
		}
		last = 1 << 30
		for x := w - 1; x >= 0; x-- {
			if in[y*w+x] {
				last = x
			}
			wide[y*w+x] = wide[y*w+x] || last-x <= r
		}
	}
	for x := range w {
		last := -1 << 30
		for y := range h {
			if wide[y*w+x] {
				last = y
			}
			out[y*w+x] = y-last <= r
		}
		last = 1 << 30
		for y := h - 1; y >= 0; y-- {
			if wide[y*w+x] {
				last = y
			}
			out[y*w+x] = out[y*w+x] || last-y <= r
		}
	}
	return out
}
