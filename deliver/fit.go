package deliver

import (
	"math"
	"strconv"
)

// frame is the part of a picture that is delivered and the size it gets.
type frame struct {
	x, y, w, h   int // cut from the picture
	outW, outH   int
	reducedBelow bool // made smaller than the sheet asks, to stay under its bytes
}

func (f frame) factor() float64 { return float64(f.w) / float64(f.outW) }

// Share returns how large, against its own size, a picture of w x h pixels is
// delivered by these rules: 1 when it isn't reduced.
func (p Pixels) Share(w, h int) float64 { return 1 / p.fit(w, h).factor() }

// Size returns the pixels that a picture of w x h is delivered in by these rules.
func (p Pixels) Size(w, h int) (int, int) {
	f := p.fit(w, h)
	return f.outW, f.outH
}

// fit lays the rules over a picture of w x h pixels.
func (p Pixels) fit(w, h int) frame {
	f := frame{w: w, h: h}
	if m := ratioPattern.FindStringSubmatch(p.Ratio); m != nil {
		a, _ := strconv.ParseFloat(m[1], 64) // digits by the pattern
		b, _ := strconv.ParseFloat(m[2], 64)
		if (a > b) != (w > h) {
			a, b = b, a
		}
		if want := a / b; float64(w) > want*float64(h) {
			f.w = max(1, int(math.Round(want*float64(h))))
		} else {
			f.h = max(1, int(math.Round(float64(w)/want)))
		}
		f.x, f.y = (w-f.w)/2, (h-f.h)/2
	}
	s := 1.0
	for _, l := range [][2]int{{p.LongEdge, max(f.w, f.h)}, {p.MaxWidth, f.w}, {p.MaxHeight, f.h}} {
		if l[0] > 0 {
			s = min(s, float64(l[0])/float64(l[1]))
		}
	}
	return f.scaled(s)
}

// scaled sets the output size to s times the cut.
func (f frame) scaled(s float64) frame {
	f.outW = max(1, min(f.w, int(math.Round(float64(f.w)*s))))
	f.outH = max(1, min(f.h, int(math.Round(float64(f.h)*s))))
	return f
}
