package whitebalance

import (
	"context"
	"math"
	"testing"

	"mullion/colour"
	"mullion/internal/raster"
)

// A room that runs from lamp to daylight, with a brown floor and a blue patch:
// its white wall comes out white at both ends.
func TestTwoLights(t *testing.T) {
	img := synthetic(600, 400)
	e, err := Measure(context.Background(), img, nil, Prior{})
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Apply(context.Background(), img, nil); err != nil {
		t.Fatal(err)
	}
	if e.SecondKelvin == 0 {
		t.Error("one light found where there are two")
	}
	for _, x := range []int{30, 300, 570} {
		i := 50*img[0].Stride + x
		lab := colour.ToLab(colour.BT2020ToXYZ.Apply(at(img, i)), colour.D65.XYZ())
		// By the lamp a trace of warmth stays: see Strength.
		if d := colour.DeltaE(colour.Lab{L: lab.L}, lab); d > 6 {
			t.Errorf("the wall at %d is dE00 %.1f from neutral", x, d)
		}
	}
}

// One grey surface: its light is the light, within a kelvin or two of what was
// put in, and the luminance of white stays. Under a light warmer than a filament lamp's a
// trace of warmth stays.
func TestOneLight(t *testing.T) {
	for _, want := range []float64{2400, 3000, 4500, 6504, 8000} {
		img := raster.NewRGB(64, 48)
		rgb := colour.XYZToBT2020.Apply(colour.Light(want, .002).XYZ())
		for k := range img {
			img[k].Fill(float32(0.5 * rgb[k]))
		}
		e, err := Measure(context.Background(), img, nil, Prior{})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(e.Kelvin/want-1) > 0.002 || math.Abs(e.Duv-.002) > 1e-4 || e.SecondKelvin != 0 {
			t.Errorf("%v K: found %.1f K %+.5f, second %v", want, e.Kelvin, e.Duv, e.SecondKelvin)
		}
		if err := e.Apply(context.Background(), img, nil); err != nil {
			t.Fatal(err)
		}
		if want < warmestBase {
			lab := colour.ToLab(colour.BT2020ToXYZ.Apply(at(img, 20)), colour.D65.XYZ())
			if d := colour.DeltaE(colour.Lab{L: lab.L}, lab); d < 1 || d > 6 || lab.B < 1 {
				t.Errorf("%v K: white ends as %+v", want, lab)
			}
			continue
		}
		for k := range img {
			if v := img[k].At(20, 20); math.Abs(float64(v)-0.5) > 1e-3 {
				t.Errorf("%v K: channel %d of white is %v, want 0.5", want, k, v)
			}
		}
	}
}

func TestBadInput(t *testing.T) {
	ctx := context.Background()
	if _, err := Measure(ctx, nil, nil, Prior{}); err == nil {
		t.Error("no picture was taken")
	}
	if _, err := Measure(ctx, raster.NewRGB(8, 8), nil, Prior{}); err == nil {
		t.Error("a picture of 8 x 8 was taken")
	}
	if _, err := Measure(ctx, raster.NewRGB(64, 64), raster.New(32, 32), Prior{}); err == nil {
		t.Error("a window map of another size was taken")
	}
	black := raster.NewRGB(64, 64)
	e, err := Measure(ctx, black, nil, Prior{XY: [2]float64{colour.D50.X, colour.D50.Y}})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(e.Kelvin-5003) > 5 || e.Confidence != 0 {
		t.Errorf("black: %.0f K at confidence %v, want the prior's 5003 K at 0", e.Kelvin, e.Confidence)
	}
	if err := e.Apply(ctx, black, raster.New(3, 3)); err == nil {
		t.Error("a window map of another size was applied")
	}
	odd := synthetic(100, 80)
	odd[0].Row(3)[5] = float32(math.NaN())
	odd[1].Row(9)[9] = float32(math.Inf(1))
	odd[2].Row(20)[20] = -4
	e, err = Measure(ctx, odd, nil, Prior{})
	if err != nil || math.IsNaN(e.Kelvin) {
		t.Errorf("one broken pixel: %v K, error %v", e.Kelvin, err)
	}
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := Measure(stopped, odd, nil, Prior{}); err == nil {
		t.Error("a cancelled measurement gave a result")
	}
}
