package metadata

import (
	"math"
	"testing"
)

// Marked and true values: the "nominal and precise" charts of scantips.com.
func TestTrueSeconds(t *testing.T) {
	for marked, want := range map[float64]float64{
		1: 1, 1 / 2.: 1 / 2., 1 / 4.: 1 / 4., 1 / 8.: 1 / 8., 1 / 15.: 1 / 16., 1 / 30.: 1 / 32., 1 / 60.: 1 / 64.,
		1 / 125.: 1 / 128., 1 / 250.: 1 / 256., 1 / 500.: 1 / 512., 1 / 1000.: 1 / 1024., 1 / 8000.: 1 / 8192.,
		15: 16, 30: 32, 8: 8, 60: 64,
		// Thirds of a stop: 2^(1/3) = 1.26, 2^(2/3) = 1.587.
		1.3: math.Cbrt(2), 1.6: math.Cbrt(4), 1 / 50.: math.Cbrt(2) / 64, 1 / 40.: math.Cbrt(4) / 64, .3: math.Cbrt(4) / 5.039684199579493,
		13: 8 * math.Cbrt(4), 10: 8 * math.Cbrt(2), 1 / 6.: math.Cbrt(2) / 8,
		// Half stops with marks of their own.
		1 / 45.: math.Sqrt2 / 64, 1 / 90.: math.Sqrt2 / 128, 1 / 350.: math.Sqrt2 / 512, 1.5: math.Sqrt2, .7: math.Sqrt2 / 2,
		// No marks: a bulb time, a phone's electronic shutter, values already true.
		217: 217, 1 / 33.: 1 / 33., 1 / 128.: 1 / 128., 1 / 32.: 1 / 32., 16: 16, 0: 0,
	} {
		if got := TrueSeconds(marked); math.Abs(got-want) > 1e-9*math.Max(want, 1e-6) {
			t.Errorf("TrueSeconds(%v) = %v, want %v", marked, got, want)
		}
	}
}

// Every marked third between 1/8000 and 30 s is within 0.17 EV of its true value,
// and the true values are a third of a stop apart.
func TestThirdsAreEvenlySpaced(t *testing.T) {
	for i := 1; i < len(thirdSeconds); i++ {
		a, b := TrueSeconds(thirdSeconds[i-1]), TrueSeconds(thirdSeconds[i])
		if step := math.Log2(b / a); math.Abs(step-1./3) > 1e-9 {
			t.Errorf("from %v to %v: %v EV", thirdSeconds[i-1], thirdSeconds[i], step)
		}
		if off := math.Abs(math.Log2(b / thirdSeconds[i])); off > 0.17 {
			t.Errorf("%v s is %v EV from %v", thirdSeconds[i], off, b)
		}
	}
}

// True f-numbers 2^(k/6): the same charts.
func TestTrueFNumber(t *testing.T) {
	for marked, want := range map[float64]float64{
		1.4: 1.4142, 2.8: 2.8284, 4: 4, 5.6: 5.6569, 6.3: 6.3496, 7.1: 7.1272, 8: 8, 9: 8.9797, 10: 10.0794, 11: 11.3137, 13: 12.6992, 16: 16,
		1.7: 1.6818, 6.7: 6.7272, 7.6: 7.6, 1.9: 1.9,
	} {
		if got := TrueFNumber(marked); math.Abs(got-want) > 5e-5 {
			t.Errorf("TrueFNumber(%v) = %v, want %v", marked, got, want)
		}
	}
}

func TestSecondsFrom(t *testing.T) {
	for _, c := range []struct {
		marked, tv float64
		has        bool
		want       float64
	}{
		{1 / 30., 5, true, 1 / 32.},                  // unrounded
		{1 / 20., 4.5, true, math.Exp2(-4.5)},        // a half stop that shares its mark
		{1 / 20., 4.3219, true, math.Exp2(-13 / 3.)}, // the mark again: a third
		{1 / 100., 6.625, true, math.Exp2(-20 / 3.)}, // written in eighths of a stop
		{1 / 160., 7.375, true, math.Exp2(-22 / 3.)}, // likewise
		{1 / 33., 5.044, true, 1 / 33.},              // an electronic shutter
		{0, 3, true, 1 / 8.}, {0, 0, false, 0},       // only one, or none
		{1 / 60., 2, true, 1 / 64.}, {30, -5, true, 32}, // a value of another meaning
	} {
		if got := secondsFrom(c.marked, c.tv, c.has); math.Abs(math.Log2((got+1e-12)/(c.want+1e-12))) > 1e-6 {
			t.Errorf("secondsFrom(%v, %v, %v) = %v, want %v", c.marked, c.tv, c.has, got, c.want)
		}
	}
}

func TestExposure(t *testing.T) {
	a := Info{Seconds: TrueSeconds(1 / 30.), ISO: 100, FNumber: TrueFNumber(5.6)}
	b := Info{Seconds: TrueSeconds(1 / 125.), ISO: 100, FNumber: TrueFNumber(5.6)}
	ea, _ := a.Exposure()
	eb, _ := b.Exposure()
	if math.Abs(ea-eb-2) > 1e-12 {
		t.Errorf("1/30 and 1/125 differ by %v EV, want exactly 2", ea-eb)
	}
	if _, ok := (Info{ISO: 100}).Exposure(); ok {
		t.Error("an unknown time gave an exposure")
	}
}
