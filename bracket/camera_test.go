package bracket

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/rawfile"
	"mullion/simcam"
)

var bg = context.Background()

// house returns the folder of the rendered house, or skips.
func house(t testing.TB) string {
	dir := os.Getenv("MULLION_TESTDATA")
	if dir == "" {
		t.Skip("MULLION_TESTDATA is not set: it names the folder that holds demo-house/ and realdata/")
	}
	return filepath.Join(dir, "demo-house")
}

func scene(t testing.TB, name string) *raster.RGB {
	f, err := os.Open(filepath.Join(house(t), name+".radiance.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := simcam.ReadRadiance(bg, f)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// taken is a simulated bracket, darkest first, with its truth: the light on every
// photosite in the unit of the merge, free of noise, in the middle frame's geometry.
type taken struct {
	frames []*rawfile.Frame
	truth  *raster.Plane
	cam    *simcam.Camera
}

type taking struct {
	scenes []*raster.RGB // one, or one a step
	ev     []float64
	moves  []simcam.Move
	scale  float64
	seed   uint64
	truth  bool
}

func take(t testing.TB, k taking) taken {
	if k.ev == nil {
		k.ev = []float64{-4, -2, 0, 2, 4}
	}
	cam := simcam.LF1()
	out := taken{cam: cam}
	mid := len(k.ev) / 2
	base := k.scenes[min(mid, len(k.scenes)-1)]
	meter, _, err := simcam.Meter(bg, base, 160, 8)
	if err != nil {
		t.Fatal(err)
	}
	var p *simcam.Projection
	for i, ev := range k.ev {
		var mv simcam.Move
		if k.moves != nil {
			mv = k.moves[i]
		}
		if p == nil || len(k.scenes) > 1 || k.moves != nil {
			sc := k.scenes[min(i, len(k.scenes)-1)]
			if p, err = cam.Project(bg, sc, k.scale, mv); err != nil {
				t.Fatal(err)
			}
		}
		out.frames = append(out.frames, expose(t, cam, p, meter.Step(ev), k.seed+1, uint64(i)))
		if k.truth && i == mid {
			out.truth = noiseless(t, base, k.scale, mv, meter)
		}
	}
	return out
}

func expose(t testing.TB, cam *simcam.Camera, p *simcam.Projection, sh simcam.Shutter, seed, number uint64) *rawfile.Frame {
	r, err := cam.Expose(bg, p, simcam.Frame{Shutter: sh, ISO: 160, FNumber: 8, Seed: seed, Number: number})
	if err != nil {
		t.Fatal(err)
	}
	b := float32(cam.Black)
	m := &rawfile.Mosaic{W: r.W, H: r.H, Pix: r.Pix, CFA: [2][2]uint8{{0, 1}, {1, 2}},
		Black: [2][2]float32{{b, b}, {b, b}}, White: float32(cam.White), HasNoise: true}
	s, o := cam.NoiseProfile(160)
	for c := range m.Noise {
		m.Noise[c].S, m.Noise[c].O = s, o
	}
	return &rawfile.Frame{Kind: rawfile.KindMosaic, Mosaic: m,
		Info: metadata.Info{Seconds: sh.Seconds(), ISO: 160, FNumber: 8}}
}

// noiseless photographs the scene with a camera without noise, in steps of 4 EV
// so that rounding to counts does not matter.
func noiseless(t testing.TB, sc *raster.RGB, scale float64, mv simcam.Move, meter simcam.Shutter) *raster.Plane {
	cam := simcam.LF1()
	cam.FullWell, cam.ReadPre, cam.ReadPost, cam.RowNoise, cam.Dark = 1e12, 0, 0, 0, 0
	cam.Black, cam.White = 0, 65000
	p, err := cam.Project(bg, sc, scale, mv)
	if err != nil {
		t.Fatal(err)
	}
	out := raster.New(p.W, p.H)
	for _, ev := range []float64{-16, -12, -8, -4, 0, 4} {
		sh := meter.Step(ev)
		r, err := cam.Expose(bg, p, simcam.Frame{Shutter: sh, ISO: 160, FNumber: 8, Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		k := float32(1 / (simcam.Gain(sh.Seconds(), 160, 8) * 65000))
		for i, v := range r.Pix {
			if v < 64000 {
				out.Pix[i] = float32(v) * k
			}
		}
	}
	return out
}

// logError returns the RMS of log2(got/truth) over photosites whose truth lies in
// the middle 80 % and below the clipping point.
func logError(got, truth *raster.Plane, clip float32) float64 {
	lo, hi := quantile(truth, 0.1), quantile(truth, 0.9)
	var sum float64
	var n int
	for y := range got.H {
		a, b := got.Row(y), truth.Row(y)
		for x := range a {
			if b[x] > lo && b[x] < min(hi, clip*0.9) && a[x] > 0 {
				d := math.Log2(float64(a[x] / b[x]))
				sum += d * d
				n++
			}
		}
	}
	return math.Sqrt(sum / float64(n))
}

func quantile(p *raster.Plane, q float64) float32 {
	var s []float32
	for i := 0; i < len(p.Pix); i += 7 {
		s = append(s, p.Pix[i])
	}
	median32(s)
	return s[int(q*float64(len(s)-1))]
}
