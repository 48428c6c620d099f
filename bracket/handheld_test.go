package bracket

import (
	"context"
	"math"
	"testing"

	"mullion/demosaic"
	"mullion/internal/raster"
	"mullion/rawfile"
	"mullion/simcam"
)

// hands are the moves of a bracket without a tripod: the others against the middle
// frame, in pixels of a 24-megapixel frame.
var hands = []simcam.Move{{X: 11.3, Y: -7.1, Turn: 0.12}, {X: -5.4, Y: 3.8, Turn: -0.05}, {}, {X: 8.2, Y: 14.7, Turn: 0.2}, {X: -19.5, Y: 6.2, Turn: -0.15}}

// full is the interpolation that the pipeline hands in.
func full(ctx context.Context, m *raster.Plane, cfa [2][2]uint8) (*raster.RGB, error) {
	return demosaic.Demosaic(ctx, m, cfa, demosaic.Flatten{Knee: 1. / 2048})
}

func BenchmarkHandHeld24MP(b *testing.B) {
	k := take(b, taking{scenes: []*raster.RGB{scene(b, "A-kitchen")}, scale: 10. / 3, moves: hands})
	b.ReportAllocs()
	for b.Loop() {
		r, err := Merge(bg, k.frames, Options{Reference: -1, Interpolate: full})
		if err != nil {
			b.Fatal(err)
		}
		if r.RGB == nil {
			b.Fatal("merged as still")
		}
		raster.PutRGB(r.RGB)
	}
}

// Known moves of the whole camera, through the pipeline's own interpolation: the
// merge agrees with the light on every green photosite of the reference, and by far
// better than the reference frame alone.
func TestHandHeldKnownMoves(t *testing.T) {
	moves := []simcam.Move{{X: 3.3, Y: -2.1, Turn: 0.12}, {X: -1.4, Y: 0.8, Turn: -0.05}, {}, {X: 6.2, Y: 4.7, Turn: 0.3}, {X: -9.5, Y: 2.2, Turn: -0.2}}
	k := take(t, taking{scenes: []*raster.RGB{scene(t, "A-guest").Crop(200, 200, 1100, 800)}, moves: moves, truth: true})
	r, err := Merge(bg, k.frames, Options{Reference: 2, Interpolate: full})
	if err != nil {
		t.Fatal(err)
	}
	alone, err := full(bg, one(t, k.frames[2]), k.frames[2].Mosaic.CFA)
	if err != nil {
		t.Fatal(err)
	}
	got, single := greenError(r.RGB[1], k.truth), greenError(alone[1], k.truth)
	t.Logf("RMS %.4f EV, the reference alone %.4f EV", got, single)
	if got > 0.02 || got > 0.6*single {
		t.Errorf("RMS %.4f EV against the truth, the reference alone %.4f EV", got, single)
	}
	for c := range r.RGB {
		for y := range r.RGB.H() {
			for x, v := range r.RGB[c].Row(y) {
				if v != v || v-v != 0 {
					t.Fatalf("channel %d at %d, %d is %v", c, x, y, v)
				}
			}
		}
	}
}

// one is the merge of a single frame.
func one(t *testing.T, f *rawfile.Frame) *raster.Plane {
	r, err := Merge(bg, []*rawfile.Frame{f}, Options{Reference: -1})
	if err != nil {
		t.Fatal(err)
	}
	return r.Mosaic
}

// Leaving out what a tile can spare costs less than a tenth of the noise, and no
// frame is missed where it alone sees something.
func TestSpareFrames(t *testing.T) {
	sc := scene(t, "A-kitchen").Crop(700, 300, 700, 500)
	moves := []simcam.Move{{X: 3.3, Y: -2.1}, {X: -1.4, Y: 0.8}, {}, {X: 6.2, Y: 4.7}, {X: -9.5, Y: 2.2}}
	k := take(t, taking{scenes: []*raster.RGB{sc}, moves: moves})
	m := placed(t, k)
	for _, step := range []func(context.Context) error{m.ratios, m.motion} {
		if err := step(bg); err != nil {
			t.Fatal(err)
		}
	}
	m.scale()
	whole := rect{0, 0, m.ref.w, m.ref.h}
	sums := [2]*tile{}
	for i := range sums {
		sums[i] = &tile{rect: whole, sum: raster.GetRGB(whole.w(), whole.h()), weight: raster.Get(whole.w(), whole.h())}
	}
	all := make([]rect, len(m.shots))
	for i := range all {
		all[i] = whole
	}
	if err := m.addAll(bg, sums[0], all); err != nil {
		t.Fatal(err)
	}
	var area, n int
	var worst, mean float64
	for y := 0; y < whole.y1; y += tileH {
		for x := 0; x < whole.x1; x += tileW {
			r := rect{x, y, min(whole.x1, x+tileW), min(whole.y1, y+tileH)}
			part := &tile{rect: r, sum: raster.GetRGB(r.w(), r.h()), weight: raster.Get(r.w(), r.h())}
			need := m.needs(r)
			for _, p := range need {
				if p.w() > 0 && p.h() > 0 {
					area += p.w() * p.h()
				}
			}
			if err := m.addAll(bg, part, need); err != nil {
				t.Fatal(err)
			}
			for v := range r.h() {
				for u := range r.w() {
					// Weights are 1/variance.
					lost := 1 - float64(part.weight.Row(v)[u]/sums[0].weight.Row(y + v)[x+u])
					mean, n = mean+lost, n+1
					worst = max(worst, lost)
				}
			}
		}
	}
	mean /= float64(n)
	t.Logf("%.2f of 5 frames a pixel; information lost: mean %.3f, worst pixel %.3f", float64(area)/float64(n), mean, worst)
	if mean > spare || float64(area) > 4*float64(n) {
		t.Errorf("%.2f frames a pixel, %.3f of the information lost", float64(area)/float64(n), mean)
	}
}

// Moving in two passes is the two-dimensional kernel, up to the shortcuts: phases
// shared by eight pixels, and which row a pixel of the first pass belongs to.
func TestMoveInTwoPasses(t *testing.T) {
	const w, h = 300, 220
	p := picture{rgb: raster.NewRGB(w, h), trust: raster.New(w, h)}
	p.trust.Fill(1)
	wave := func(x, y float64) float32 {
		return float32(2 + math.Sin(x/3.1)*math.Cos(y/2.7) + 0.5*math.Sin((x+2*y)/5))
	}
	for y := range h {
		for x := range w {
			for c := range p.rgb {
				p.rgb[c].Row(y)[x] = wave(float64(x), float64(y)) * float32(c+1)
			}
		}
	}
	for _, turn := range []float64{0, 0.003, 0.05} { // radians
		s, c := math.Sincos(turn)
		tr := still(w, h)
		tr.a = [2][2]float64{{c, -s}, {s, c}}
		tr.tx, tr.ty = 2.37, -1.81
		m := &merger{step: 1}
		r := rect{60, 40, 240, 180}
		to := m.locate(tr, r)
		out := p.move(to, 0, 0, w, h, false)
		var worst float64
		for y := range r.h() {
			for x := range r.w() {
				u, v := tr.at(float64(r.x0+x), float64(r.y0+y))
				for c := range out.rgb {
					worst = max(worst, math.Abs(float64(out.rgb[c].Row(y)[x])/float64(c+1)-float64(wave(u, v))))
				}
			}
		}
		t.Logf("turned by %.3f: worst error %.4f of a wave of amplitude 1", turn, worst)
		if worst > 0.04 {
			t.Errorf("turned by %.3f: worst error %.4f", turn, worst)
		}
	}
}

// At the frame's edges the kernel runs out of pixels and the nearest stands in; no
// width or shift may read beyond.
func TestMoveAtEdges(t *testing.T) {
	for w := 20; w < 40; w++ {
		p := picture{rgb: raster.NewRGB(w, 18), trust: raster.New(w, 18)}
		for c := range p.rgb {
			p.rgb[c].Fill(3)
		}
		for _, shift := range []float64{-9.4, -2.5, 0.3, 2.4, 11.6} {
			tr := still(w, 18)
			tr.tx, tr.ty = shift, -shift
			m := &merger{step: 1}
			to := m.locate(tr, rect{0, 0, w, 18})
			out := p.move(to, 0, 0, w, 18, false)
			for y := range 18 {
				for x, v := range out.rgb[1].Row(y) {
					if math.Abs(float64(v)-3) > 1e-5 {
						t.Fatalf("width %d, shift %.1f: %v at %d, %d", w, shift, v, x, y)
					}
				}
			}
		}
	}
}

// The banded solver of the mesh against the residual of its own equations.
func TestMeshSolver(t *testing.T) {
	g := newMesh(400, 300, 9, 7)
	n := 2 * g.nx * g.ny
	build := func() (*symmetric, []float64) {
		a, rhs := newSymmetric(n), make([]float64, n)
		for i := range g.dx {
			g.dx[i], g.dy[i] = math.Sin(float64(i)), math.Cos(3*float64(i))
		}
		bending(g, a, rhs, 0.7)
		for i := range n {
			a.add(i, i, 0.3+0.2*math.Sin(float64(i*i)))
			if i > 0 {
				a.add(i, i-1, 0.05)
			}
		}
		return a, rhs
	}
	a, b := build()
	x := append([]float64(nil), b...)
	if !a.solve(x) {
		t.Fatal("not solved")
	}
	a, _ = build()
	for i := range n {
		r := -b[i]
		for j := range n {
			r += a.at(max(i, j), min(i, j)) * x[j]
		}
		if math.Abs(r) > 1e-9 {
			t.Fatalf("row %d: residual %g", i, r)
		}
	}
}
