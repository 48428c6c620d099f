package check

import (
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
