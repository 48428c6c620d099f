package removal

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"mullion/internal/raster"
)

// Stroke is a line painted with a round brush, in pixels of the view as its camera
// saw it, upright: x to the right, y down, from the top left corner.
type Stroke struct {
	Points [][2]float64
	Width  float64
}

const strokeForm = `write it as "x1,y1 x2,y2 ... @width" in pixels of the upright frame, like "310,1200 420,980 @24"`

// ParseStroke reads "x1,y1 x2,y2 ... @width". One point alone is a dot.
func ParseStroke(s string) (Stroke, error) {
	fail := func(format string, args ...any) (Stroke, error) {
		return Stroke{}, fmt.Errorf("stroke %q: %s; %s", s, fmt.Sprintf(format, args...), strokeForm)
	}
	line, width, ok := strings.Cut(s, "@")
	if !ok {
		return fail("its width is missing")
	}
	var out Stroke
	var err error
	if out.Width, err = number(strings.TrimSpace(width)); err != nil || out.Width < 1 || out.Width > 2000 {
		return fail("the width %q is not a number of pixels from 1 to 2000", strings.TrimSpace(width))
	}
	for _, field := range strings.Fields(line) {
		a, b, ok := strings.Cut(field, ",")
		x, errX := number(a)
		y, errY := number(b)
		if !ok || errX != nil || errY != nil {
			return fail("%q is no point", field)
		}
		out.Points = append(out.Points, [2]float64{x, y})
	}
	if len(out.Points) == 0 {
		return fail("it has no points")
	}
	return out, nil
}

func number(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err == nil && (math.IsNaN(v) || math.IsInf(v, 0) || math.Abs(v) > 1e6) {
		err = strconv.ErrRange
	}
	return v, err
}

// String writes the stroke as [ParseStroke] reads it.
func (s Stroke) String() string {
	var b strings.Builder
	for _, p := range s.Points {
		fmt.Fprintf(&b, "%g,%g ", p[0], p[1])
	}
	return b.String() + fmt.Sprintf("@%g", s.Width)
}

// Box is the rectangle from (X, Y), W wide and H high, in the same pixels.
type Box struct{ X, Y, W, H float64 }

// ParseBox reads "x,y wxh", in pixels of the upright frame.
func ParseBox(s string) (Box, error) {
	var b Box
	var rest string
	n, _ := fmt.Sscanf(strings.TrimSpace(s)+" ", "%f,%f %fx%f%s", &b.X, &b.Y, &b.W, &b.H, &rest)
	if n != 4 || !(b.W >= 1) || !(b.H >= 1) || math.IsInf(b.X+b.Y+b.W+b.H, 0) || math.IsNaN(b.X+b.Y) {
		return Box{}, fmt.Errorf(`box %q: write it as "x,y WIDTHxHEIGHT" in pixels of the upright frame, like "310,200 180x120"`, s)
	}
	return b, nil
}

// Paint sets the pixels of mask that the stroke covers to 1, softly at its edge. It
// reports whether it touched the mask at all.
func (s Stroke) Paint(mask *raster.Plane) bool {
	touched := false
	for i := range s.Points {
		a, b := s.Points[max(0, i-1)], s.Points[i]
		r := s.Width / 2
		x0, x1 := span(min(a[0], b[0])-r, max(a[0], b[0])+r, mask.W)
		y0, y1 := span(min(a[1], b[1])-r, max(a[1], b[1])+r, mask.H)
		for y := y0; y < y1; y++ {
			row := mask.Row(y)
			for x := x0; x < x1; x++ {
				d := toSegment(float64(x)+0.5, float64(y)+0.5, a, b)
				if v := float32(min(1, r-d+0.5)); v > row[x] {
					row[x] = v
					touched = touched || v >= painted
				}
			}
		}
	}
	return touched
}

// Paint sets the pixels whose middles lie in the box to 1.
func (b Box) Paint(mask *raster.Plane) bool {
	x0, x1 := span(b.X, b.X+b.W-1, mask.W)
	y0, y1 := span(b.Y, b.Y+b.H-1, mask.H)
	if x0 >= x1 || y0 >= y1 {
		return false
	}
	mask.Crop(x0, y0, x1-x0, y1-y0).Fill(1)
	return true
}

// span is the pixels from a to b within a length of n.
func span(a, b float64, n int) (int, int) {
	return max(0, int(max(-1, math.Floor(a)))), min(n, int(min(float64(n), math.Floor(b)+1)))
}

func toSegment(x, y float64, a, b [2]float64) float64 {
	dx, dy := b[0]-a[0], b[1]-a[1]
	t := 0.0
	if l := dx*dx + dy*dy; l > 0 {
		t = max(0, min(1, ((x-a[0])*dx+(y-a[1])*dy)/l))
	}
	return math.Hypot(x-a[0]-t*dx, y-a[1]-t*dy)
}
