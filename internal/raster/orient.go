package raster

// Upright returns a copy of p turned as an Exif orientation (1 to 8) says it is to be
// seen. Any other number counts as 1.
func Upright(p *Plane, orientation int) *Plane {
	w, h := p.W, p.H
	if orientation >= 5 && orientation <= 8 {
		w, h = h, w
	}
	out := Get(w, h)
	for y := range h {
		row := out.Row(y)
		for x := range row {
			sx, sy := Stored(orientation, x, y, w, h)
			row[x] = p.Row(sy)[sx]
		}
	}
	return out
}

// Stored returns the pixel of the stored picture that is seen at (x, y) of the upright
// one of w x h (Exif 2.32, tag 0112: where the stored row 0 and column 0 are seen).
func Stored(orientation, x, y, w, h int) (sx, sy int) {
	switch orientation {
	case 2:
		return w - 1 - x, y
	case 3:
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6:
		return y, w - 1 - x
	case 7:
		return h - 1 - y, w - 1 - x
	case 8:
		return h - 1 - y, x
	}
	return x, y
}
