package bracket

import (
	"math"
	"path/filepath"
	"slices"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
	"mullion/rawfile"
)

// pictured is a bracket of developed pictures without exposure data, as a camera makes
// them: light that clips, a curve that is steep in the middle and flat at both ends, eight
// bits and a code of noise.
func pictured(sc *raster.RGB, ev []float64) []*rawfile.Frame {
	curve := make([]float32, 1<<14)
	for i := range curve {
		v := math.Pow(float64(i)/float64(len(curve)-1), 1/1.9)
		curve[i] = float32(v * v * (3 - 2*v))
	}
	decode := func(v float32) float32 { return float32(colour.DecodeSRGB(float64(v))) }
	var bright []float32
	for y := 0; y < sc.H(); y += 3 {
		bright = append(bright, sc[1].Row(y)...)
	}
	slices.Sort(bright)
	var frames []*rawfile.Frame
	seed := uint32(1)
	for _, e := range ev {
		k := exp2(e) * 0.4 / bright[len(bright)/2]
		out := raster.NewRGB(sc.W(), sc.H())
		for c := range out {
			for y := range out.H() {
				row := out[c].Row(y)
				for x, v := range sc[c].Row(y) {
					seed = seed*1664525 + 1013904223
					noise := (float32(seed>>8)/(1<<24) - 0.5) * 2
					t := curve[int(max(0, min(1, v*k))*float32(len(curve)-1))]
					row[x] = float32(math.Round(float64(max(0, min(255, t*255+noise))))) / 255
				}
			}
		}
		frames = append(frames, &rawfile.Frame{Kind: rawfile.KindDisplay, Coded: &rawfile.Coded{RGB: out, Bits: 8,
			ToLinear: [3]func(float32) float32{decode, decode, decode}, ToBT2020: colour.Identity}})
	}
	return frames
}

// Pictures that don't say how they were exposed agree with each other once they are
// merged: nothing seems to have moved, unequal steps come out in their true ratio, and the
// merge is the light to a power, without a seam where one frame takes over from the next.
// Read through the profile's curve alone the
// same bracket is 0.023 EV off, in steps.
func TestExposureUnsaid(t *testing.T) {
	sc := scene(t, "A-dining").Crop(300, 200, 1000, 700)
	r, err := Merge(bg, pictured(sc, []float64{-4, -1.5, 0, 2}), Options{Reference: -1})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range r.Findings {
		if f.Code == "moving" || f.Code == "light-changed" {
			t.Errorf("%s", f.Message)
		}
	}
	f := r.Frames
	k := (f[3].RefinedEV - f[0].RefinedEV) / 6
	for i, want := range []float64{-4, -1.5, 0, 2} {
		if d := (f[i].RefinedEV-f[0].RefinedEV)/k - (want + 4); math.Abs(d) > 0.1 {
			t.Errorf("frame %d is %.2f EV off, light to the power %.2f", i+1, d, k)
		}
	}
	slope, rms := powerLaw(r.RGB[1], sc[1], r.Clip)
	t.Logf("light to the power %.3f, RMS %.4f EV from it", slope, rms)
	if rms > 0.015 {
		t.Errorf("RMS %.4f EV from a power of the light", rms)
	}
}

// A hall against the sun, in developed pictures without exposure data: read through
// the profile's curve, the sun's glare and the shadows had steps where one frame takes
// over, and a blue bin passed for motion.
func TestHallAgainstTheSun(t *testing.T) {
	var frames []*rawfile.Frame
	for _, n := range []string{"Img1.jpg", "Img2.jpg", "Img3.jpg"} {
		f, err := rawfile.Decode(bg, filepath.Join(house(t), "../realdata/brackets/deepfuse/Seq_33", n))
		if err != nil {
			t.Fatal(err)
		}
		frames = append(frames, f)
	}
	r, err := Merge(bg, frames, Options{Reference: -1})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range r.Findings {
		if f.Code == "moving" || f.Code == "light-changed" {
			t.Errorf("%s", f.Message)
		}
	}
	// Whoever took it stepped evenly, which nothing here knows of.
	a, b := -r.Frames[0].RefinedEV, r.Frames[2].RefinedEV
	t.Logf("steps %.2f and %.2f EV", a, b)
	if a/b < 0.93 || a/b > 1.07 {
		t.Errorf("steps %.2f and %.2f EV", a, b)
	}
}

// powerLaw fits log2(got) = slope * log2(want) + offset over the middle 80 % of what does
// not clip and returns the slope and what is left over, RMS in EV of the light.
func powerLaw(got, want *raster.Plane, clip float32) (slope, rms float64) {
	lo, hi := quantile(want, 0.1), quantile(want, 0.9)
	var n, sx, sy, sxx, sxy, syy float64
	for y := range got.H {
		a, b := got.Row(y), want.Row(y)
		for x := range a {
			if b[x] > lo && b[x] < hi && a[x] > 0 && a[x] < 0.8*clip {
				u, v := math.Log2(float64(b[x])), math.Log2(float64(a[x]))
				n, sx, sy, sxx, sxy, syy = n+1, sx+u, sy+v, sxx+u*u, sxy+u*v, syy+v*v
			}
		}
	}
	sx, sy, sxx, sxy, syy = sx/n, sy/n, sxx/n, sxy/n, syy/n
	slope = (sxy - sx*sy) / (sxx - sx*sx)
	return slope, math.Sqrt(max(0, syy-sy*sy-slope*(sxy-sx*sy))) / slope
}
