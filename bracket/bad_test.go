package bracket

import (
	"context"
	"errors"
	"strings"
	"testing"

	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/rawfile"
)

func flat(w, h int, v uint16, seconds float64) *rawfile.Frame {
	m := &rawfile.Mosaic{W: w, H: h, Pix: make([]uint16, w*h), CFA: [2][2]uint8{{0, 1}, {1, 2}},
		Black: [2][2]float32{{512, 512}, {512, 512}}, White: 16383}
	for i := range m.Pix {
		m.Pix[i] = v
	}
	return &rawfile.Frame{Kind: rawfile.KindMosaic, Mosaic: m, Info: metadata.Info{Seconds: seconds, ISO: 100, FNumber: 8}}
}

// Bad brackets give an error or findings, never a panic.
func TestBadBrackets(t *testing.T) {
	cases := map[string]struct {
		frames []*rawfile.Frame
		fails  bool
		code   string
	}{
		"none":            {nil, true, ""},
		"all nil":         {[]*rawfile.Frame{nil, nil}, true, ""},
		"no pixels":       {[]*rawfile.Frame{{}}, true, ""},
		"one nil":         {[]*rawfile.Frame{nil, flat(64, 48, 4000, 1)}, false, "frame-left-out"},
		"sizes":           {[]*rawfile.Frame{flat(64, 48, 2000, 0.25), flat(64, 48, 4000, 1), flat(48, 64, 4000, 2)}, false, "frame-left-out"},
		"all clipped":     {[]*rawfile.Frame{flat(64, 48, 16383, 1), flat(64, 48, 16383, 4)}, false, "highlights-clipped"},
		"all black":       {[]*rawfile.Frame{flat(64, 48, 512, 1), flat(64, 48, 512, 4)}, false, "shadows-noisy"},
		"flat":            {[]*rawfile.Frame{flat(64, 48, 4000, 1), flat(64, 48, 12000, 4)}, false, ""},
		"odd size":        {[]*rawfile.Frame{flat(63, 47, 4000, 1), flat(63, 47, 12000, 4)}, false, ""},
		"no exposure":     {[]*rawfile.Frame{flat(64, 48, 4000, 0), flat(64, 48, 12000, 0)}, false, ""},
		"truncated":       {[]*rawfile.Frame{cut(flat(64, 48, 4000, 1))}, true, ""},
		"white too low":   {[]*rawfile.Frame{dimmed(flat(64, 48, 4000, 1))}, true, ""},
		"tiny":            {[]*rawfile.Frame{flat(8, 8, 4000, 1)}, true, ""},
		"black and white": {[]*rawfile.Frame{flat(64, 48, 512, 1), flat(64, 48, 16383, 64)}, false, ""},
	}
	for name, c := range cases {
		r, err := Merge(bg, c.frames, Options{Reference: -1})
		if (err != nil) != c.fails {
			t.Errorf("%s: error %v", name, err)
			continue
		}
		if err != nil {
			t.Logf("%s: %v", name, err)
			continue
		}
		var found bool
		for _, f := range r.Findings {
			found = found || f.Code == c.code
		}
		if c.code != "" && !found {
			t.Errorf("%s: no finding %s in %v", name, c.code, r.Findings)
		}
		for i, v := range r.Mosaic.Pix {
			if v != v || v-v != 0 {
				t.Errorf("%s: sample %d is %v", name, i, v)
				break
			}
		}
	}
}

// half gives the lower half of a frame another count.
func half(f *rawfile.Frame, v uint16) *rawfile.Frame {
	for i := len(f.Mosaic.Pix) / 2; i < len(f.Mosaic.Pix); i++ {
		f.Mosaic.Pix[i] = v
	}
	return f
}

func cut(f *rawfile.Frame) *rawfile.Frame {
	f.Mosaic.Pix = f.Mosaic.Pix[:100]
	return f
}

func dimmed(f *rawfile.Frame) *rawfile.Frame {
	f.Mosaic.White = 100
	return f
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(bg)
	cancel()
	_, err := Merge(ctx, []*rawfile.Frame{flat(64, 48, 2000, 0.25), flat(64, 48, 4000, 1)}, Options{Reference: -1})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled merge returned %v", err)
	}
}

// A white lamp that clips whole becomes the neutral's colour, its edge never
// magenta: balanced, no channel falls under the green of a pixel that was neutral.
func TestWhitenNeutralRamp(t *testing.T) {
	n := [3]float64{0.5, 1, 0.7}
	m := raster.NewRGB(256, 16)
	for y := range 16 {
		for x := range 256 {
			l := float32(x) / 64 // up to 4 times the clipping point of green
			for c := range 3 {
				m[c].Row(y)[x] = min(1, l*float32(n[c]))
			}
		}
	}
	if err := Whiten(bg, m, 1, n); err != nil {
		t.Fatal(err)
	}
	last := float32(-1)
	for x := range 256 {
		r, g, b := m[0].Row(8)[x]/0.5, m[1].Row(8)[x], m[2].Row(8)[x]/0.7
		hi, lo := max(r, g, b), min(r, g, b)
		if hi > 0 && (hi-lo)/hi > 0.06 {
			t.Errorf("x %d: balanced %.3f %.3f %.3f is coloured", x, r, g, b)
		}
		if g < last-0.02 {
			t.Errorf("x %d: falls from %.3f to %.3f", x, last, g)
		}
		last = g
	}
	if last < 1.9 {
		t.Errorf("the lamp ends at %.2f; the red channel says at least 2", last)
	}
}

// What the photographer reads is a sentence for one frame as for many: which frame,
// how much of the picture, and what to do.
func TestMessages(t *testing.T) {
	cases := map[string]struct {
		frames []*rawfile.Frame
		want   []string
	}{
		"one, clipped":   {[]*rawfile.Frame{flat(64, 48, 16383, 1)}, []string{"100 % of the picture", "in the only frame merged, frame 1 (a.dng)", "take the view again"}},
		"many, clipped":  {[]*rawfile.Frame{half(flat(64, 48, 16383, 4), 6000), half(flat(64, 48, 16383, 1), 1884)}, []string{"50 % of the picture", "every frame, even in the darkest, frame 2 (b.dng)", "take the view again"}},
		"one, black":     {[]*rawfile.Frame{flat(64, 48, 512, 1)}, []string{"in the only frame merged, frame 1 (a.dng)", "brighter frame"}},
		"many, black":    {[]*rawfile.Frame{half(flat(64, 48, 512, 4), 6000), half(flat(64, 48, 512, 1), 1884)}, []string{"brightest frame, frame 1 (a.dng)", "brighter frame"}},
		"one left out":   {[]*rawfile.Frame{flat(64, 48, 4000, 1), flat(48, 64, 4000, 1)}, []string{"Frame 2 (b.dng) was left out", "48 x 64 pixels", "take the view again"}},
		"two of unknown": {[]*rawfile.Frame{flat(64, 48, 4000, 0), flat(64, 48, 16383, 0)}, []string{"Frame", "left out"}},
	}
	for name, c := range cases {
		for i, f := range c.frames {
			f.Path = "card/" + string(rune('a'+i)) + ".dng"
		}
		r, err := Merge(bg, c.frames, Options{Reference: -1})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var all string
		for _, f := range r.Findings {
			all += f.Message + "\n"
		}
		for _, w := range c.want {
			if !strings.Contains(all, w) {
				t.Errorf("%s: no %q in\n%s", name, w, all)
			}
		}
		if strings.Contains(all, "((") || strings.Contains(all, "))") || strings.Contains(all, "%!") {
			t.Errorf("%s: %s", name, all)
		}
	}
}
