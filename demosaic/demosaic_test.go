package demosaic

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"mullion/internal/raster"
	"mullion/internal/raster/rastertest"
)

var ctx = context.Background()

var rggb = [2][2]uint8{{0, 1}, {1, 2}}

// kodak reads the 24 pictures of the Kodak set as planes of codes 0..1.
func kodak(t testing.TB) []*raster.RGB {
	root := os.Getenv("MULLION_TESTDATA")
	if root == "" {
		t.Skip("MULLION_TESTDATA is not set: the Kodak pictures are not part of the project")
	}
	files, _ := filepath.Glob(filepath.Join(root, "realdata", "kodak", "*.png"))
	if len(files) != 24 {
		t.Fatalf("%d Kodak pictures, want 24", len(files))
	}
	var all []*raster.RGB
	for _, f := range files {
		all = append(all, rastertest.ReadPNG(t, f))
	}
	return all
}

func mosaicOf(m *raster.RGB, cfa [2][2]uint8) *raster.Plane {
	p := raster.New(m.W(), m.H())
	for y := range p.H {
		row := p.Row(y)
		for x := range row {
			row[x] = m[cfa[y&1][x&1]].Row(y)[x]
		}
	}
	return p
}

// psnr of each channel, results clamped to [0, 1], peak 1.
func psnr(got, want *raster.RGB) [3]float64 {
	var out [3]float64
	for c := range out {
		var sum float64
		for y := range want.H() {
			g, w := got[c].Row(y), want[c].Row(y)
			for x := range w {
				d := math.Max(0, math.Min(1, float64(g[x]))) - float64(w[x])
				sum += d * d
			}
		}
		out[c] = -10 * math.Log10(sum/float64(want.W()*want.H()))
	}
	return out
}

// kernel5 convolves the mosaic at (x, y) with a 5 x 5 kernel in eighths, borders
// reflected about the border sample.
func kernel5(m *raster.Plane, x, y int, k *[5][5]float64) float64 {
	var sum float64
	for j := range 5 {
		for i := range 5 {
			if k[j][i] != 0 {
				sum += k[j][i] * float64(m.Row(mirror(y+j-2, m.H))[mirror(x+i-2, m.W)])
			}
		}
	}
	return sum / 8
}

// malvar is the linear interpolation of Malvar, He and Cutler (ICASSP 2004), with
// the kernels of the paper; plain is the bilinear one. Both are here only to check
// the measuring code against published figures.
func malvar(m *raster.Plane) *raster.RGB {
	return linear(m,
		[5][5]float64{2: {-1, 2, 4, 2, -1}, 0: {2: -1}, 1: {2: 2}, 3: {2: 2}, 4: {2: -1}},
		[5][5]float64{0: {2: .5}, 1: {1: -1, 3: -1}, 2: {-1, 4, 5, 4, -1}, 3: {1: -1, 3: -1}, 4: {2: .5}},
		[5][5]float64{0: {2: -1.5}, 1: {1: 2, 3: 2}, 2: {-1.5, 0, 6, 0, -1.5}, 3: {1: 2, 3: 2}, 4: {2: -1.5}})
}

func bilinear(m *raster.Plane) *raster.RGB {
	return linear(m,
		[5][5]float64{1: {2: 2}, 2: {1: 2, 3: 2}, 3: {2: 2}},
		[5][5]float64{2: {1: 4, 3: 4}},
		[5][5]float64{1: {1: 2, 3: 2}, 3: {1: 2, 3: 2}})
}

// linear interpolates an RGGB mosaic with three kernels: green at red and blue,
// red or blue at green of its row (turned for its column), and red at blue.
func linear(m *raster.Plane, green, row, opposite [5][5]float64) *raster.RGB {
	var column [5][5]float64
	for j := range 5 {
		for i := range 5 {
			column[i][j] = row[j][i]
		}
	}
	out := raster.NewRGB(m.W, m.H)
	for y := range m.H {
		for x := range m.W {
			own := rggb[y&1][x&1]
			for c := range uint8(3) {
				v := float64(m.Row(y)[x])
				switch {
				case c == own:
				case c == 1:
					v = kernel5(m, x, y, &green)
				case own == 1 && (c == 0) == (y&1 == 0):
					v = kernel5(m, x, y, &row)
				case own == 1:
					v = kernel5(m, x, y, &column)
				default:
					v = kernel5(m, x, y, &opposite)
				}
				out[c].Row(y)[x] = float32(v)
			}
		}
	}
	return out
}

func meanPSNR(pictures []*raster.RGB, f func(*raster.Plane) *raster.RGB) (ch [3]float64, mean float64) {
	for _, p := range pictures {
		got := psnr(f(mosaicOf(p, rggb)), p)
		for c := range ch {
			ch[c] += got[c] / float64(len(pictures))
		}
	}
	return ch, (ch[0] + ch[1] + ch[2]) / 3
}

// TestKodak measures the interpolation on the 24 Kodak pictures, RGGB at (0, 0).
// The bilinear and Malvar rows are published (pytorch-debayer, Metrics.md v1.4.0)
// and hold the measuring code to 0.01 dB; ours has to be well above them.
func TestKodak(t *testing.T) {
	pictures := kodak(t)
	for _, row := range []struct {
		name string
		f    func(*raster.Plane) *raster.RGB
		want [4]float64 // R, G, B, mean
	}{
		{"bilinear", bilinear, [4]float64{28.18, 32.66, 28.86, 29.90}},
		{"Malvar", malvar, [4]float64{33.84, 38.05, 33.53, 35.14}},
	} {
		ch, mean := meanPSNR(pictures, row.f)
		for i, got := range []float64{ch[0], ch[1], ch[2], mean} {
			if math.Abs(got-row.want[i]) > 0.011 {
				t.Errorf("%s, column %d: %.3f dB, published %.2f", row.name, i, got, row.want[i])
			}
		}
	}
	ours, mean := meanPSNR(pictures, func(m *raster.Plane) *raster.RGB {
		out, err := Demosaic(ctx, m, rggb, Flatten{})
		if err != nil {
			t.Fatal(err)
		}
		return out
	})
	t.Logf("ours: R %.2f G %.2f B %.2f mean %.2f dB", ours[0], ours[1], ours[2], mean)
	if mean < 38.5 || ours[1] < 40.5 {
		t.Errorf("ours: %.2f dB in the mean, %.2f in green; the bar is 38.5 and 40.5", mean, ours[1])
	}
}
