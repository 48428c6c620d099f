package bracket

import (
	"math"
	"math/rand/v2"
	"testing"

	"mullion/metadata"
	"mullion/rawfile"
)

// shading is four maps, one a place of the mosaic's cell, as phones write them: 1 in the
// middle, more to the borders, another for each.
func shading() *metadata.Gains {
	all := &metadata.Gains{}
	for k := range 4 {
		g := metadata.GainMap{Top: k / 2, Left: k % 2, Bottom: 400, Right: 512, RowPitch: 2, ColPitch: 2, Planes: 1,
			V: 5, H: 7, MapPlanes: 1, SpacingV: 0.25, SpacingH: 1.0 / 6}
		for i := range 5 * 7 {
			x, y := float64(i%7)/6-0.5, float64(i/7)/4-0.5
			g.Gain = append(g.Gain, float32(1+[]float64{1, 1.2, 1.2, 1.5}[k]*2*(x*x+y*y)))
		}
		all.Maps = append(all.Maps, g)
	}
	return all
}

// A grey wall behind a lens that shades every colour in its own way is grey and even
// after the merge, on a tripod and by hand, and its noise is what Noise and Louder say.
func TestGainMaps(t *testing.T) {
	const w, h, span, level = 512, 400, 15871., 0.2
	noise := line{1. / 37500, 3. * 3 / 37500 / 37500}
	rng := rand.New(rand.NewPCG(3, 4))
	gains := shading()
	row := make([]float32, w)
	var frames []*rawfile.Frame
	for _, ev := range []float64{-1, 0, 1} {
		f := flat(w, h, 0, math.Exp2(ev))
		f.Info.Optics.Gains = gains
		f.Mosaic.HasNoise = true
		for c := range f.Mosaic.Noise {
			f.Mosaic.Noise[c].S, f.Mosaic.Noise[c].O = noise.s, noise.o
		}
		for y := range h {
			for k := range 2 {
				g := &gains.Maps[2*(y&1)+k]
				g.Row(row, 0, y, w, h)
				for x := k; x < w; x += 2 {
					v := level * math.Exp2(ev) / float64(row[x])
					v += rng.NormFloat64() * math.Sqrt(noise.at(v))
					f.Mosaic.Pix[y*w+x] = uint16(max(0, min(16383, math.Round(512+v*span))))
				}
			}
		}
		frames = append(frames, f)
	}
	m := merged(t, frames, 1)
	unit := float64(m.Clip) / math.Exp2(-m.Frames[0].RefinedEV)
	var chi, count float64
	for _, part := range [][4]int{{0, 0, 64, 64}, {224, 168, 288, 232}, {448, 336, 512, 400}} {
		for cell := range 4 {
			var sum, n float64
			for y := part[1] + cell/2; y < part[3]; y += 2 {
				for x := part[0] + cell%2; x < part[2]; x += 2 {
					v := float64(m.Mosaic.Row(y)[x]) / unit
					sum, n = sum+v, n+1
					said := float64(m.Noise.VarAt(float32(v*unit))) * math.Pow(float64(m.Louder.At(x, y)), 2) / unit / unit
					chi, count = chi+(v-level)*(v-level)/said, count+1
				}
			}
			if d := sum/n/level - 1; math.Abs(d) > 0.006 {
				t.Errorf("at %v, place %d of the cell: off by %.2f %%", part[:2], cell, 100*d)
			}
		}
	}
	t.Logf("noise %.3f of what was said", math.Sqrt(chi/count))
	if r := chi / count; r < 0.7 || r > 1.3 {
		t.Errorf("variance is %.2f of what Noise and Louder say", r)
	}
	// By hand: interpolated first, the same gains.
	rgb := m.Mosaic.Clone()
	for i := range rgb.Pix {
		rgb.Pix[i] = float32(level)
	}
	for y := range h {
		for k := range 2 {
			g := &gains.Maps[2*(y&1)+k]
			g.Row(row, 0, y, w, h)
			for x := k; x < w; x += 2 {
				rgb.Row(y)[x] /= row[x]
			}
		}
	}
	im, err := interpolate(bg, rgb, frames[0].Mosaic.CFA)
	if err != nil {
		t.Fatal(err)
	}
	if err := evenRGB(bg, im, gains, frames[0].Mosaic, 1); err != nil {
		t.Fatal(err)
	}
	for c := range im {
		for y := 8; y < h-8; y++ {
			for x := 8; x < w-8; x++ {
				if d := im[c].Row(y)[x]/level - 1; d > 0.02 || d < -0.02 {
					t.Fatalf("colour %d at (%d, %d) is off by %.1f %%", c, x, y, 100*d)
				}
			}
		}
	}
}

// A map for colours, of the list that is for the interpolated picture, counts by colour.
func TestGainMapOfColours(t *testing.T) {
	f := flat(64, 48, 3000, 1)
	f.Info.Optics.Gains = &metadata.Gains{Maps: []metadata.GainMap{{Bottom: 48, Right: 64, RowPitch: 1, ColPitch: 1, Planes: 3,
		Colours: true, V: 1, H: 1, MapPlanes: 3, Gain: []float32{2, 1, 3}}}}
	plain := merged(t, []*rawfile.Frame{flat(64, 48, 3000, 1)}, 0)
	m := merged(t, []*rawfile.Frame{f}, 0)
	for i, v := range m.Mosaic.Pix {
		x, y := i%64, i/64
		want := []float32{2, 1, 3}[m.CFA[y&1][x&1]] * plain.Mosaic.Pix[i]
		if d := v - want; d > 1e-5*want || d < -1e-5*want {
			t.Fatalf("(%d, %d) is %g, want %g", x, y, v, want)
		}
	}
}
