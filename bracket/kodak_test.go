package bracket

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"mullion/internal/raster"
	"mullion/internal/raster/rastertest"
	"mullion/simcam"
)

// Random shifts up to 24 px and rotations up to 0.5 degrees of Kodak pictures, with up
// to 3 EV between the two frames, come back to a tenth of a pixel RMS at the corners,
// over all pairs; none is off by more than 0.2. 8 of them, or as many as
// MULLION_ALIGNMENTS says (of 100, 5 are between 0.10 and 0.14, the rest below). The
// pictures are from the Kodak Lossless True Color Image Suite.
func TestAlignKodak(t *testing.T) {
	n := 8
	if v, err := strconv.Atoi(os.Getenv("MULLION_ALIGNMENTS")); err == nil && v > 0 {
		n = v
	}
	files, _ := filepath.Glob(filepath.Join(house(t), "..", "realdata", "kodak", "*.png"))
	if len(files) == 0 {
		t.Skip("no Kodak pictures in MULLION_TESTDATA")
	}
	rng := rand.New(rand.NewPCG(3, 100))
	between := func(a float64) float64 { return a * (2*rng.Float64() - 1) }
	var sum, worst float64
	for i := range n {
		sc := kodak(t, files[i*5%len(files)])
		mv := simcam.Move{X: between(24), Y: between(24), Turn: between(0.5)}
		ev := 1 + 2*rng.Float64()
		if rng.IntN(2) == 0 {
			ev = -ev
		}
		k := take(t, taking{scenes: []*raster.RGB{sc}, ev: []float64{ev, 0}, moves: []simcam.Move{mv, {}}, seed: uint64(i)})
		m := &merger{opt: Options{Reference: 1}, out: &Radiance{Frames: make([]FrameReport, 2)}}
		m.admit(k.frames)
		for _, step := range steps(m) {
			if err := step(bg); err != nil {
				t.Fatal(err)
			}
		}
		e := math.Inf(1)
		for _, s := range m.shots {
			if s.index == 0 {
				e = cornerError(m, s, func(x, y float64) (float64, float64) { return mv.Apply(x, y, s.w, s.h) })
			}
		}
		if sum, worst = sum+e*e, max(worst, e); e > 0.2 {
			t.Errorf("%s moved by %.2f, %.2f px and %.3f deg at %+.1f EV: %.3f px RMS at the corners %s",
				filepath.Base(files[i*5%len(files)]), mv.X, mv.Y, mv.Turn, ev, e, m.out.Frames[0].Why)
		}
		m.release()
	}
	if math.Sqrt(sum/float64(n)) > 0.1 {
		t.Errorf("%.3f px RMS", math.Sqrt(sum/float64(n)))
	}
	t.Logf("%d pairs: %.3f px RMS, worst %.3f px", n, math.Sqrt(sum/float64(n)), worst)
}

// kodak reads a picture as a scene: its codes through the sRGB curve (IEC 61966-2-1).
func kodak(t *testing.T, name string) *raster.RGB {
	m := rastertest.ReadPNG(t, name)
	for _, p := range m {
		for i, v := range p.Pix {
			u := float64(v)
			if u <= 0.04045 {
				u /= 12.92
			} else {
				u = math.Pow((u+0.055)/1.055, 2.4)
			}
			p.Pix[i] = float32(u)
		}
	}
	return m
}
