package bracket

import (
	"context"
	"testing"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// A box moves in front of a wall whose blue each frame shows a bit brighter than the one
// before. The frame that shows the box meets the merge around it without a step, though
// its blue is its own; the merge's level is what counts, and far from the box nothing
// changes.
func TestSeams(t *testing.T) {
	const w, h = 640, 400
	var frames []*rawfile.Frame
	for i, ev := range []float64{-1.5, 0, 1.5} {
		sc := raster.NewRGB(w, h)
		for y := range h {
			for x := range w {
				wall := 0.3 + 0.4*float32(x)/w + 0.1*float32(y)/h
				v := [3]float32{wall, wall * 0.9, wall * 0.8 * (1 + 0.04*float32(i))}
				if bx := x - 240 - 30*i; bx >= 0 && bx < 60 && y >= 150 && y < 250 {
					v = [3]float32{0.25, 0.22, 0.2}
				}
				// Bars for the alignment to hold on to.
				if x%97 < 6 || y%83 < 5 {
					v = [3]float32{v[0] * 0.5, v[1] * 0.5, v[2] * 0.5}
				}
				for c := range v {
					sc[c].Row(y)[x] = v[c]
				}
			}
		}
		frames = append(frames, pictured(sc, []float64{ev - 0.5})[0])
	}
	fused := func(regions bool) *merger {
		m := &merger{opt: Options{Reference: 1}, out: &Radiance{Frames: make([]FrameReport, len(frames))}}
		m.admit(frames)
		for _, step := range []func(context.Context) error{m.makeProofs, m.dropUseless, m.chooseReference, m.align, m.linearise, m.ratios, m.bloom, m.motion} {
			if err := step(bg); err != nil {
				t.Fatal(err)
			}
		}
		if m.moved == nil {
			t.Fatal("nothing moved")
		}
		if !regions {
			m.moved = nil
		}
		if err := m.fuse(bg); err != nil {
			t.Fatal(err)
		}
		return m
	}
	m, merged := fused(true), fused(false)
	fields, err := m.seams.fields(bg)
	if err != nil || fields == nil {
		t.Fatal("no seams", err)
	}
	var most float32
	for _, v := range fields[2].Pix {
		most = max(most, abs(v))
	}
	// Along the rim, where the wall stands still in both, the two agree.
	var left []float32
	soft := make([]float32, w)
	for y := range h {
		if !m.moved.softRow(soft, 0, y) {
			continue
		}
		a, b := m.out.RGB[2].Row(y), merged.out.RGB[2].Row(y)
		for x, f := range soft {
			if f > 0.3 && a[x] > 0 && b[x] > 0 {
				if d := log2(a[x] / b[x]); abs(d) < seamMost {
					left = append(left, abs(d)/f)
				}
			}
		}
	}
	mid := median32(left)
	t.Logf("blue differs by up to %.3f EV, %.4f EV of it are left in the middle of %d pixels", most, mid, len(left))
	if most < 0.02 {
		t.Errorf("the frame differs from the merge by %.3f EV only: the test tests nothing", most)
	}
	if mid > most/3 {
		t.Errorf("%.4f EV of a difference of %.3f are left", mid, most)
	}
	// The box is shown once, as one frame saw it.
	var dark int
	for x := 210; x < 385; x++ {
		if x%97 < 6 {
			continue
		}
		if m.out.RGB[1].Row(200)[x] < merged.out.RGB[1].Row(120)[x]*0.6 {
			dark++
		}
	}
	if dark < 50 || dark > 62 { // one of the bars may lie before it
		t.Errorf("the box of 60 pixels is shown %d wide", dark)
	}
}
