package plumb

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"mullion/lines"
)

// ReadSegments reads line segments that were found elsewhere: one x1,y1,x2,y2 a
// line, in pixels, separated by commas, semicolons, blanks or tabs. Further
// columns, empty lines, lines that start with # and a first line of column names
// are passed over. name is for the error, which says the line that can't be read.
func ReadSegments(r io.Reader, name string) ([]lines.Segment, error) {
	var out []lines.Segment
	in := bufio.NewScanner(r)
	in.Buffer(nil, 1<<20)
	first := true
	for n := 1; in.Scan(); n++ {
		text := strings.TrimSpace(strings.TrimPrefix(in.Text(), "\ufeff"))
		if text == "" || text[0] == '#' {
			continue
		}
		s, err := parseSegment(text)
		if err != nil && !first {
			return nil, fmt.Errorf("%s, line %d: %v; it should be x1,y1,x2,y2 in pixels", name, n, err)
		}
		first = false
		if err == nil {
			out = append(out, s)
		}
	}
	if err := in.Err(); err != nil {
		return nil, fmt.Errorf("%s: %v", name, err)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s has no line segments; each line should be x1,y1,x2,y2 in pixels", name)
	}
	return out, nil
}

func parseSegment(text string) (lines.Segment, error) {
	fields := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(",; \t", r) })
	if len(fields) < 4 {
		return lines.Segment{}, fmt.Errorf("%d numbers", len(fields))
	}
	var v [4]float64
	for i := range v {
		x, err := strconv.ParseFloat(strings.Trim(fields[i], `"`), 64)
		if err != nil || math.IsNaN(x) || math.Abs(x) > 1e6 {
			return lines.Segment{}, fmt.Errorf("%q is no place in a picture", fields[i])
		}
		v[i] = x
	}
	return lines.Segment{X1: v[0], Y1: v[1], X2: v[2], Y2: v[3]}, nil
}
