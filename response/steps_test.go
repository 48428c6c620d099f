package response

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// shots are the codes that a camera of a given curve writes of random places in frames
// of the given exposures, with half a per cent of noise.
func shots(ev []float64, curve func(float64) float64, n int) []Place {
	rng := rand.New(rand.NewPCG(7, 8))
	var places []Place
	for range n {
		l := math.Exp2(rng.Float64()*12 - 10)
		p := make(Place, len(ev))
		for j, e := range ev {
			x := min(1, l*math.Exp2(e)*(1+0.005*rng.NormFloat64()))
			p[j] = uint8(math.Round(255 * curve(max(0, x))))
		}
		places = append(places, p)
	}
	return places
}

// Frames that don't say how they were exposed, of a camera whose curve is no power of
// sRGB's: the steps come out in their true ratio, though they are unequal, and the curve
// up to the power that is open.
func TestRecoverSteps(t *testing.T) {
	curve := func(x float64) float64 {
		v := math.Pow(x, 1/1.9)
		return v * v * (3 - 2*v)
	}
	ev := []float64{-4, -1, 0, 2.5}
	got, steps, err := RecoverSteps(shots(ev, curve, 3000), SRGB(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	k := steps[3] / (ev[3] - ev[0])
	for j := range ev {
		if d := steps[j]/k - (ev[j] - ev[0]); math.Abs(d) > 0.06 {
			t.Errorf("frame %d is %.3f EV off, of steps %v times %.3f", j+1, d, steps, k)
		}
	}
	var truth Curve
	for z := range truth {
		lo, hi := 0., 1.
		for range 50 {
			if m := (lo + hi) / 2; 255.01*curve(m) < float64(z)+0.01 {
				lo = m
			} else {
				hi = m
			}
		}
		truth[z] = k * math.Log(hi)
	}
	rms, assumed := rmsLog(got, &truth, 16, 240), rmsLog(SRGB(), &truth, 16, 240)
	t.Logf("RMS of ln g over codes 16..240, light to the power %.3f: %.4f (sRGB assumed: %.3f)", k, rms, assumed)
	if rms > 0.04 || rms > assumed/3 {
		t.Errorf("RMS of ln g is %.4f", rms)
	}
	// Over all it is as steep as the assumed curve.
	if again := flattened(got, SRGB()); rmsLog(again, got, 5, 250) > 1e-9 {
		t.Error("the curve is steeper or flatter than the assumed one")
	}
}

// Frames that no one curve explains, and frames too far apart to share anything, are
// refused.
func TestRecoverStepsRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var noise []Place
	for range 1000 {
		noise = append(noise, Place{uint8(rng.IntN(256)), uint8(rng.IntN(256)), uint8(rng.IntN(256))})
	}
	far := shots([]float64{-9, 0}, func(x float64) float64 { return math.Pow(x, 0.9) }, 1000)
	for name, places := range map[string][]Place{"noise": noise, "far apart": far, "none": nil} {
		if c, ev, err := RecoverSteps(places, SRGB(), Options{}); !errors.Is(err, ErrTooLittle) {
			t.Errorf("%s: %v, %v, %v", name, c != nil, ev, err)
		}
	}
}
