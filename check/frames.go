package check

import (
	"mullion/internal/raster"
	"mullion/rawfile"
)

// frameOf is a usable frame and its place in the view.
type frameOf struct {
	index int
	*small
}

func framesOf(list []*frameOf) []*rawfile.Frame {
	out := make([]*rawfile.Frame, len(list))
	for i, f := range list {
		out[i] = f.frame
	}
	return out
}

// darkest and brightest are the ends of what was merged.
func (v *seen) darkest() *small   { return v.frames[v.used[0]] }
func (v *seen) brightest() *small { return v.frames[v.used[len(v.used)-1]] }

// upright returns a copy of p turned as an Exif orientation says it is to be seen.
func upright(p *raster.Plane, orientation int) *raster.Plane {
	w, h := p.W, p.H
	if orientation >= 5 {
		w, h = h, w
	}
	out := raster.Get(w, h)
	for y := range h {
		row := out.Row(y)
		for x := range row {
			sx, sy := stored(orientation, x, y, w, h)
			row[x] = p.Row(sy)[sx]
		}
	}
	return out
}

// stored returns the pixel of the stored picture that is seen at (x, y) of the upright
// one of w x h (Exif 2.32, tag 0112: where the stored row 0 and column 0 are seen).
func stored(orientation, x, y, w, h int) (sx, sy int) {
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

// box is a rectangle in shares of the upright picture, 0 to 1.
type box struct{ X0, Y0, X1, Y1 float64 }

// seenAt turns a rectangle of the stored picture of w x h into shares of the upright
// one.
func seenAt(orientation, w, h, x0, y0, x1, y1 int) box {
	b := box{float64(x0) / float64(w), float64(y0) / float64(h), float64(x1) / float64(w), float64(y1) / float64(h)}
	switch orientation {
	case 2:
		b = box{1 - b.X1, b.Y0, 1 - b.X0, b.Y1}
	case 3:
		b = box{1 - b.X1, 1 - b.Y1, 1 - b.X0, 1 - b.Y0}
	case 4:
		b = box{b.X0, 1 - b.Y1, b.X1, 1 - b.Y0}
	case 5:
		b = box{b.Y0, b.X0, b.Y1, b.X1}
	case 6:
		b = box{1 - b.Y1, b.X0, 1 - b.Y0, b.X1}
	case 7:
		b = box{1 - b.Y1, 1 - b.X1, 1 - b.Y0, 1 - b.X0}
	case 8:
		b = box{b.Y0, 1 - b.X1, b.Y1, 1 - b.X0}
	}
	return b
}

// where names the place of a box as one would point at it in the picture.
func (b box) where() string {
	x, y := (b.X0+b.X1)/2, (b.Y0+b.Y1)/2
	vertical := [...]string{"upper", "", "lower"}[third(y)]
	side := [...]string{"left", "", "right"}[third(x)]
	switch {
	case vertical == "" && side == "":
		return "in the middle"
	case vertical == "":
		return "on the " + side
	case side == "":
		return "in the " + vertical + " middle"
	}
	return "on the " + vertical + " " + side
}

func third(v float64) int { return max(0, min(2, int(v*3))) }
