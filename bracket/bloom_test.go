package bracket

import (
	"math"
	"testing"

	"mullion/internal/raster"
	"mullion/rawfile"
)

// bloom lets the charge of clipped photosites run over: what lies up to 12 px beside
// them gets up to a share of the full well more.
func bloom(m *rawfile.Mosaic, share float64) (touched []bool) {
	const reach = 12
	dist := make([]float32, len(m.Pix))
	for i, v := range m.Pix {
		dist[i] = 1e6
		if v >= 16383 {
			dist[i] = 0
		}
	}
	relax := func(x, y, dx, dy int, d float32) {
		if u, v := x+dx, y+dy; u >= 0 && v >= 0 && u < m.W && v < m.H {
			dist[y*m.W+x] = min(dist[y*m.W+x], dist[v*m.W+u]+d)
		}
	}
	for y := range m.H {
		for x := range m.W {
			relax(x, y, -1, 0, 1)
			relax(x, y, 0, -1, 1)
			relax(x, y, -1, -1, 1.414)
			relax(x, y, 1, -1, 1.414)
		}
	}
	for y := m.H - 1; y >= 0; y-- {
		for x := m.W - 1; x >= 0; x-- {
			relax(x, y, 1, 0, 1)
			relax(x, y, 0, 1, 1)
			relax(x, y, 1, 1, 1.414)
			relax(x, y, -1, 1, 1.414)
		}
	}
	touched = make([]bool, len(m.Pix))
	for i, d := range dist {
		if d > 0 && d < reach {
			add := share * 15871 * math.Exp(-float64(d)/4)
			m.Pix[i] = uint16(min(16383, float64(m.Pix[i])+add))
			touched[i] = true
		}
	}
	return touched
}

// Charge that runs over beside clipped windows and lamps does not get into the merge.
func TestBloom(t *testing.T) {
	room := scene(t, "A-dining").Crop(700, 380, 900, 500) // two windows and a lamp
	for share, want := range map[float64]struct{ mean, rms float64 }{
		0:    {0.002, 0.012}, // without bloom nothing changes
		0.02: {0.022, 0.045}, // without mending .036, .055 EV
		0.1:  {0.035, 0.12},  // .316, .577 EV
	} {
		k := take(t, taking{scenes: []*raster.RGB{room}, truth: true})
		touched := make([]bool, len(k.truth.Pix))
		for i := range k.frames {
			var here []bool
			if i >= 2 {
				here = bloom(k.frames[i].Mosaic, share)
			}
			for j, b := range here {
				touched[j] = touched[j] || b
			}
		}
		r, err := Merge(bg, k.frames, Options{Reference: -1})
		if err != nil {
			t.Fatal(err)
		}
		var sum, sq, n float64
		for i, b := range touched {
			v, w := r.Mosaic.Pix[i], k.truth.Pix[i]
			if b && v > 0 && w > 0 && w < r.Clip*0.9 {
				d := math.Log2(float64(v / w))
				sum, sq, n = sum+d, sq+d*d, n+1
			}
		}
		if math.Abs(sum/n) > want.mean || math.Sqrt(sq/n) > want.rms {
			t.Errorf("bloom of %.2f: mean %+.4f EV, RMS %.4f EV beside what clips", share, sum/n, math.Sqrt(sq/n))
		}
		t.Logf("bloom of %.2f: beside clipped mean %+.4f EV, RMS %.4f EV over %.0f photosites; %v", share, sum/n, math.Sqrt(sq/n), n, r.Findings)
	}
}
