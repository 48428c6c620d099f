package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The verticals of a room seen by a camera that looks down by 10 degrees, focal
// length 500 px of 640 x 480: they meet 500/tan(10) = 2836 px below the middle, and
// the answer is the pitch, from segments alone.
func TestPlumbFromSegments(t *testing.T) {
	var b strings.Builder
	b.WriteString("x1,y1,x2,y2\n")
	const vx, vy = 320, 240 + 2835.64
	for i := range 24 {
		x := 20 + 25*float64(i)
		// From (x, 60) towards the vanishing point, 300 px down.
		k := 300 / (vy - 60)
		fmt.Fprintf(&b, "%.3f,%.3f,%.3f,%.3f\n", x, 60.0, x+k*(vx-x), 360.0)
	}
	path := filepath.Join(t.TempDir(), "lines.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	a := mullion(t, "plumb", "--segments", path, "--size", "640x480", "--focal-px", "500", "--centre", "320,240", "--json")
	var got []plumbResult
	if err := json.Unmarshal([]byte(a.out), &got); err != nil || a.status != 0 || len(got) != 1 {
		t.Fatalf("status %d, %v: %s%s", a.status, err, a.out, a.err)
	}
	p := got[0]
	if math.Abs(p.Pitch+10) > 0.05 || math.Abs(p.Roll) > 0.05 || p.Confidence < 0.5 || p.FocalPx != 500 || !p.FocalKnown || p.Width != 640 {
		t.Errorf("%+v", p)
	}
	if math.Abs(p.Vertical.X-vx) > 5 || math.Abs(p.Vertical.Y-vy) > 15 {
		t.Errorf("verticals meet at %+v, want (%d, %.0f)", p.Vertical, vx, vy)
	}
}

// Wrong flags give one sentence that says what to do, and a status that isn't 0.
func TestPlumbRefuses(t *testing.T) {
	for want, args := range map[string][]string{
		"name a picture":                   {},
		"a number above 0":                 {"--focal-px=-5", "a.jpg"},
		"takes the focal length in pixels": {"--focal-px=nan", "a.jpg"},
		"--centre takes two numbers":       {"--centre=3", "a.jpg"},
		"--size belongs to --segments":     {"--size=3x3", "a.jpg"},
		"as in --size 640x480":             {"--segments=a.csv", "--size=10x20x30"},
		"segments can't be read":           {"--segments=a.csv", "--size=10x20"},
		"one or the other":                 {"--segments=/dev/null", "--size=10x20", "a.jpg"},
		"there is no such file":            {"a.jpg"},
		"this is a folder":                 {"--segments=.", "--size=10x20"},
		"2 of 3 segments lie outside":      {"--segments=testdata/three.csv", "--size=10x20"},
		"not in millimetres":               {"--segments=testdata/three.csv", "--size=100x200", "--focal-px=24"},
		"far outside the picture's":        {"--segments=testdata/three.csv", "--size=100x200", "--centre=900,20"},
	} {
		a := mullion(t, append([]string{"plumb"}, args...)...)
		if a.status == 0 || !strings.Contains(a.err, want) {
			t.Errorf("%v: status %d, %q; want %q", args, a.status, a.err, want)
		}
	}
}
