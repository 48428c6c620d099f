package colour

import (
	"fmt"
	"math"
	"testing"
)

// The 34 pairs of Sharma, Wu and Dalal, Color Res. Appl. 30:21 (2005), table 1.
var sharma = [][7]float64{
	{50, 2.6772, -79.7751, 50, 0, -82.7485, 2.0425}, {50, 3.1571, -77.2803, 50, 0, -82.7485, 2.8615},
	{50, 2.8361, -74.0200, 50, 0, -82.7485, 3.4412}, {50, -1.3802, -84.2814, 50, 0, -82.7485, 1.0000},
	{50, -1.1848, -84.8006, 50, 0, -82.7485, 1.0000}, {50, -.9009, -85.5211, 50, 0, -82.7485, 1.0000},
	{50, 0, 0, 50, -1, 2, 2.3669}, {50, -1, 2, 50, 0, 0, 2.3669},
	{50, 2.49, -.001, 50, -2.49, .0009, 7.1792}, {50, 2.49, -.001, 50, -2.49, .0010, 7.1792},
	{50, 2.49, -.001, 50, -2.49, .0011, 7.2195}, {50, 2.49, -.001, 50, -2.49, .0012, 7.2195},
	{50, -.001, 2.49, 50, .0009, -2.49, 4.8045}, {50, -.001, 2.49, 50, .0010, -2.49, 4.8045},
	{50, -.001, 2.49, 50, .0011, -2.49, 4.7461}, {50, 2.5, 0, 50, 0, -2.5, 4.3065},
	{50, 2.5, 0, 73, 25, -18, 27.1492}, {50, 2.5, 0, 61, -5, 29, 22.8977},
	{50, 2.5, 0, 56, -27, -3, 31.9030}, {50, 2.5, 0, 58, 24, 15, 19.4535},
	{50, 2.5, 0, 50, 3.1736, .5854, 1.0000}, {50, 2.5, 0, 50, 3.2972, 0, 1.0000},
	{50, 2.5, 0, 50, 1.8634, .5757, 1.0000}, {50, 2.5, 0, 50, 3.2592, .3350, 1.0000},
	{60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644}, {63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630},
	{61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731}, {35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645},
	{22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373}, {36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146},
	{90.8027, -2.0831, 1.4410, 91.1528, -1.6435, .0447, 1.4441}, {90.9257, -.5406, -.9208, 88.6381, -.8985, -.7239, 1.5381},
	{6.7747, -.2908, -2.4247, 5.8714, -.0985, -2.2286, .6377}, {2.0776, .0795, -1.1350, .9033, -.0636, -.5514, .9082},
}

func TestDeltaE(t *testing.T) {
	if len(sharma) != 34 {
		t.Fatalf("%d pairs, not 34", len(sharma))
	}
	for i, p := range sharma {
		a, b := Lab{p[0], p[1], p[2]}, Lab{p[3], p[4], p[5]}
		for _, got := range []float64{DeltaE(a, b), DeltaE(b, a)} {
			// Pair 14 lies on the 180 degree branch, where the last bit of atan2 decides.
			if i == 13 && math.Abs(got-4.7461) < 1e-4 {
				continue
			}
			near(t, fmt.Sprint("pair ", i+1), got, p[6], 1e-4)
		}
	}
}

// The ColorChecker in xyY (2005, D50) and the same chart's Lab (before November
// 2014) were published apart; through ToLab they agree to the size of the
// patches' own tolerance.
func TestLabAgainstColorChecker(t *testing.T) {
	xyY := reference(t, "colorchecker2005_xyY_iccD50.csv")
	lab := reference(t, "colorchecker24_before_nov2014_Lab_iccD50.csv")
	white := XY{0.34570, 0.35850}.XYZ()
	for i, row := range xyY {
		xyz := XY{number(t, row[1]), number(t, row[2])}.XYZ()
		y := number(t, row[3])
		for k := range xyz {
			xyz[k] *= y
		}
		want := Lab{number(t, lab[i][1]), number(t, lab[i][2]), number(t, lab[i][3])}
		if d := DeltaE(ToLab(xyz, white), want); d > 1.2 {
			t.Errorf("%s: %v against %v: dE %.2f", row[0], ToLab(xyz, white), want, d)
		}
	}
}

func TestLabRoundTrip(t *testing.T) {
	white := D65.XYZ()
	for _, v := range []Vec3{{.9504, 1, 1.0888}, {.2, .1, .3}, {.001, .002, .0005}, {0, 0, 0}} {
		nearVec(t, "round trip", ToLab(v, white).XYZ(white), v, 1e-12)
	}
	near(t, "L of 18 % grey", ToLab(Vec3{.18 * white[0], .18, .18 * white[2]}, white).L, 49.4961, 1e-4)
	l, c, h := Lab{50, -3, 4}.LCh()
	nearVec(t, "LCh", Vec3{l, c, h}, Vec3{50, 5, 126.8698976}, 1e-6)
}
