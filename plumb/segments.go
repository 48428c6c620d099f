package plumb

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"mullion/lines"
)

// ReadSegments reads line segments that were found elsewhere: one x1,y1,x2,y2 a
// line, in pixels, separated by commas, semicolons, blanks or tabs. Empty lines and lines
// that start with # are passed over, and so are further columns. A first line of column
// names that has x1, y1, x2 and y2 among them says which columns are meant; without
// names, a first column that only counts the lines isn't one of them. name is for the
// error, which says the line that can't be read.
func ReadSegments(r io.Reader, name string) ([]lines.Segment, error) {
	var rows [][]float64
	in := bufio.NewScanner(r)
	in.Buffer(nil, 1<<20)
	var columns []int // of x1, y1, x2, y2, where a header says them
	first := true
	for n := 1; in.Scan(); n++ {
		text := strings.TrimSpace(strings.TrimPrefix(in.Text(), "\ufeff"))
		if text == "" || text[0] == '#' {
			continue
		}
		fields := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(",; \t", r) })
		row, err := places(fields, columns)
		if err != nil && !first {
			return nil, fmt.Errorf("%s, line %d: %v; it should be x1,y1,x2,y2 in pixels", name, n, err)
		}
		if err == nil {
			rows = append(rows, row)
		} else {
			columns = header(fields)
		}
		first = false
	}
	if err := in.Err(); err != nil {
		return nil, fmt.Errorf("the line segments can't be read: %s: %v", name, err)
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("%s has no line segments; each line should be x1,y1,x2,y2 in pixels", name)
	}
	from := 0
	if counted(rows) {
		from = 1
	}
	out := make([]lines.Segment, len(rows))
	for i, r := range rows {
		out[i] = lines.Segment{X1: r[from], Y1: r[from+1], X2: r[from+2], Y2: r[from+3]}
	}
	return out, nil
}

// header returns where a line of names has x1, y1, x2 and y2; nil when it hasn't all.
func header(fields []string) []int {
	var at []int
	for _, want := range []string{"x1", "y1", "x2", "y2"} {
		k := slices.IndexFunc(fields, func(f string) bool { return strings.EqualFold(strings.Trim(f, `"'`), want) })
		if k < 0 {
			return nil
		}
		at = append(at, k)
	}
	return at
}

// places returns the first five numbers of a line, or those of the given columns.
func places(fields []string, columns []int) ([]float64, error) {
	if columns == nil {
		columns = []int{0, 1, 2, 3, 4}[:max(4, min(5, len(fields)))]
	}
	v := make([]float64, len(columns))
	for i, k := range columns {
		if k >= len(fields) {
			return nil, fmt.Errorf("too few numbers (%d)", len(fields))
		}
		x, err := strconv.ParseFloat(strings.Trim(fields[k], `"`), 64)
		if i == 4 && err != nil {
			return v[:4], nil // a note
		}
		if err != nil || math.IsNaN(x) || i < 4 && math.Abs(x) > 1e6 {
			return nil, fmt.Errorf("%q is no place in a picture", fields[k])
		}
		v[i] = x
	}
	return v, nil
}

// counted reports whether the first of five columns is 0, 1, 2 ... or 1, 2, 3 ...
func counted(rows [][]float64) bool {
	const fewest = 4 // of so many lines it is no accident
	for i, r := range rows {
		if len(r) < 5 || r[0] != rows[0][0]+float64(i) {
			return false
		}
	}
	return len(rows) >= fewest && (rows[0][0] == 0 || rows[0][0] == 1)
}

// Outside counts the segments whose middle is not in the picture: many, when its size is
// wrong.
func (v View) Outside(segs []lines.Segment) (n int) {
	for _, s := range segs {
		x, y := (s.X1+s.X2)/2, (s.Y1+s.Y2)/2
		if x < 0 || y < 0 || x > float64(v.W) || y > float64(v.H) {
			n++
		}
	}
	return n
}
