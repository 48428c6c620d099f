package denoise

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"mullion/demosaic"
	"mullion/internal/raster"
	"mullion/internal/raster/rastertest"
)

var rggb = [2][2]uint8{{0, 1}, {1, 2}}

// kodak reads pictures of the Kodak set as linear light, 0..1, every step-th from first.
func kodak(t testing.TB, first, step int) []*raster.RGB {
	root := os.Getenv("MULLION_TESTDATA")
	if root == "" {
		t.Skip("MULLION_TESTDATA is not set: the Kodak pictures are not part of the project")
	}
	files, _ := filepath.Glob(filepath.Join(root, "realdata", "kodak", "*.png"))
	if len(files) != 24 {
		t.Fatalf("%d Kodak pictures, want 24", len(files))
	}
	var all []*raster.RGB
	for i := first; i < len(files); i += step {
		all = append(all, readPNG(t, files[i]))
	}
	return all
}

// readPNG reads a picture as linear light.
func readPNG(t testing.TB, name string) *raster.RGB {
	m := rastertest.ReadPNG(t, name)
	for _, p := range m {
		for i, v := range p.Pix {
			p.Pix[i] = float32(linear(float64(v)))
		}
	}
	return m
}

// The curve of sRGB, IEC 61966-2-1.
func linear(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

func code(v float64) float64 { return codes[int(max(0, min(1, v))*float64(len(codes)-1)+0.5)] }

var codes = func() (t [1 << 16]float64) {
	for i := range t {
		t[i] = curve(float64(i) / float64(len(t)-1))
	}
	return t
}()

func curve(v float64) float64 {
	if v <= 0.0031308 {
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// camera is a noise model of one exposure: a full well of n electrons at 1, and a
// noise at black of read electrons.
type camera struct{ n, read float64 }

func (c camera) variance(v float32) float32 {
	return float32(max(0, float64(v))/c.n + c.read*c.read/(c.n*c.n))
}

// expose adds noise: shot noise by its Gaussian limit above 30 electrons, by counting
// below.
func (c camera) expose(m *raster.RGB, seed uint64) *raster.RGB {
	rng := rand.New(rand.NewPCG(seed, 3))
	out := m.Clone()
	for ch := range out {
		for i, v := range out[ch].Pix {
			out[ch].Pix[i] = float32((poisson(rng, float64(v)*c.n) + c.read*rng.NormFloat64()) / c.n)
		}
	}
	return out
}

func poisson(rng *rand.Rand, mean float64) float64 {
	if mean > 30 {
		return mean + math.Sqrt(mean)*rng.NormFloat64()
	}
	n, p, limit := 0.0, rng.Float64(), math.Exp(-mean)
	for p > limit {
		p *= rng.Float64()
		n++
	}
	return n
}

// model is what the camera knows about its noise.
func (c camera) model(s *Spectrum) Model {
	return Model{Variance: c.variance, Clip: 1.02, Spectrum: func() (*Spectrum, error) { return s, nil }}
}

func white(t testing.TB) *Spectrum {
	s, err := White(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func interpolated(t testing.TB) *Spectrum {
	s, err := Interpolated(context.Background(), func(ctx context.Context, m *raster.Plane) (*raster.RGB, error) {
		return demosaic.Demosaic(ctx, m, rggb, demosaic.Flatten{Knee: 1. / 512})
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// mosaic keeps of every pixel what a sensor sees and interpolates the rest.
func mosaic(t testing.TB, m *raster.RGB, knee float64) *raster.RGB {
	p := raster.New(m.W(), m.H())
	for y := range p.H {
		row := p.Row(y)
		for x := range row {
			row[x] = m[rggb[y&1][x&1]].Row(y)[x]
		}
	}
	out, err := demosaic.Demosaic(context.Background(), p, rggb, demosaic.Flatten{Knee: float32(knee)})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// psnr of the codes of sRGB over all channels.
func psnr(got, want *raster.RGB) float64 {
	var sum, n float64
	for c := range got {
		for i, w := range want[c].Pix {
			d := code(float64(got[c].Pix[i])) - code(float64(w))
			sum += d * d
			n++
		}
	}
	return -10 * math.Log10(sum/n)
}
