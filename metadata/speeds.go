package metadata

import "math"

// Cameras time in powers of two and print rounded numbers: a shutter marked 1/30
// opens for 1/32 s. The marks below are the usual ones (ISO 2721 and the makers'
// third and half stops; values: the "nominal and precise" tables of scantips.com).
//
// Where a third and a half stop share a mark (10, 20 or 1/6), the third is taken;
// the Exif ShutterSpeedValue tells them apart when it is there.
var (
	thirdSeconds = []float64{
		1 / 32000., 1 / 25600., 1 / 20000., 1 / 16000., 1 / 12800., 1 / 10000.,
		1 / 8000., 1 / 6400., 1 / 5000., 1 / 4000., 1 / 3200., 1 / 2500., 1 / 2000., 1 / 1600., 1 / 1250.,
		1 / 1000., 1 / 800., 1 / 640., 1 / 500., 1 / 400., 1 / 320., 1 / 250., 1 / 200., 1 / 160.,
		1 / 125., 1 / 100., 1 / 80., 1 / 60., 1 / 50., 1 / 40., 1 / 30., 1 / 25., 1 / 20.,
		1 / 15., 1 / 13., 1 / 10., 1 / 8., 1 / 6., 1 / 5., 1 / 4., .3, .4, .5, .6, .8,
		1, 1.3, 1.6, 2, 2.5, 3.2, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60,
	}
	// The same steps as other makers write them.
	otherThirds = map[float64]float64{
		1 / 3.: -5. / 3, 1 / 2.5: -4. / 3, 1 / 1.6: -2. / 3, 1 / 1.3: -1. / 3, 1 / 12.: -11. / 3,
	}
	halfSeconds = map[float64]float64{
		1 / 6000.: -12.5, 1 / 3000.: -11.5, 1 / 1500.: -10.5, 1 / 750.: -9.5, 1 / 350.: -8.5,
		1 / 180.: -7.5, 1 / 90.: -6.5, 1 / 45.: -5.5, 1 / 22.: -4.5, 1 / 11.: -3.5,
		.7: -.5, 1.5: .5, 3: 1.5, 45: 5.5,
	}
	thirdStops = []float64{
		1, 1.1, 1.2, 1.4, 1.6, 1.8, 2, 2.2, 2.5, 2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1,
		8, 9, 10, 11, 13, 14, 16, 18, 20, 22, 25, 29, 32,
	}
	halfStops = map[float64]float64{1.7: 1.5, 2.4: 2.5, 3.3: 3.5, 4.8: 4.5, 6.7: 5.5, 9.5: 6.5, 19: 8.5, 27: 9.5}
)

// markTolerance is how far a written value may lie from a mark to count as it:
// under half of the 2.4 % between 1/125 and 1/128, so that a file that already
// gives the true time keeps it.
const markTolerance = 0.01

// TrueSeconds returns the true exposure time in seconds of a marked one: the
// power of 2^(1/3), or of 2^(1/2), the mark stands for. A value that is no mark
// is returned as it is.
func TrueSeconds(marked float64) float64 {
	for i, m := range thirdSeconds {
		if near(marked, m) {
			return math.Exp2(float64(i-thirdOfOneSecond) / 3)
		}
	}
	for _, table := range []map[float64]float64{otherThirds, halfSeconds} {
		for m, ev := range table {
			if near(marked, m) {
				return math.Exp2(ev)
			}
		}
	}
	return marked
}

// thirdOfOneSecond is the place of 1 s in thirdSeconds: 2^-15 s comes first.
const thirdOfOneSecond = 45

// TrueFNumber returns the true f-number of a marked one, 2^(k/6) for third stops
// and 2^(k/4) for half stops. A value that is no mark is returned as it is.
func TrueFNumber(marked float64) float64 {
	for i, m := range thirdStops {
		if near(marked, m) {
			return math.Exp2(float64(i) / 6)
		}
	}
	for m, av := range halfStops {
		if near(marked, m) {
			return math.Exp2(av / 2)
		}
	}
	return marked
}

func near(v, mark float64) bool { return math.Abs(v-mark) <= markTolerance*mark }

// secondsFrom joins the marked time with the APEX shutter value of Exif tag 9201,
// which many cameras write unrounded: for 1/30 s it says 5.0. Some write it in
// eighths of a stop, so it is snapped to the third or half stop it means. Where it
// only repeats the mark it says nothing new.
func secondsFrom(marked, tv float64, hasTv bool) float64 {
	if marked <= 0 {
		if !hasTv {
			return 0
		}
		ev, _ := snapStop(tv)
		return math.Exp2(-ev)
	}
	ev, ok := snapStop(tv)
	off := math.Abs(tv + math.Log2(marked))
	if !hasTv || !ok || off < 0.004 || off > 0.25 {
		return TrueSeconds(marked)
	}
	return math.Exp2(-ev)
}

// snapStop returns the third or half stop v means, and false with v itself when
// it lies more than 0.045 EV from any.
func snapStop(v float64) (float64, bool) {
	best, half := math.Round(v*3)/3, math.Round(v*2)/2
	if math.Abs(v-half) < math.Abs(v-best) {
		best = half
	}
	if math.Abs(v-best) > 0.045 {
		return v, false
	}
	return best, true
}
