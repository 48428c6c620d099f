package colour

import "math"

// isotherms are Robertson's isotemperature lines: reciprocal temperature in
// mired (1e6/K), CIE 1960 u, v on the Planckian locus, and slope of the line
// (Robertson, J. Opt. Soc. Am. 58:1528, 1968; Wyszecki and Stiles, Color
// Science, 2nd ed., table 1(3.11), with u of 325 mired corrected to .24792).
var isotherms = [31][4]float64{
	{0, .18006, .26352, -.24341}, {10, .18066, .26589, -.25479}, {20, .18133, .26846, -.26876}, {30, .18208, .27119, -.28539},
	{40, .18293, .27407, -.30470}, {50, .18388, .27709, -.32675}, {60, .18494, .28021, -.35156}, {70, .18611, .28342, -.37915},
	{80, .18740, .28668, -.40955}, {90, .18880, .28997, -.44278}, {100, .19032, .29326, -.47888}, {125, .19462, .30141, -.58204},
	{150, .19962, .30921, -.70471}, {175, .20525, .31647, -.84901}, {200, .21142, .32312, -1.0182}, {225, .21807, .32909, -1.2168},
	{250, .22511, .33439, -1.4512}, {275, .23247, .33904, -1.7298}, {300, .24010, .34308, -2.0637}, {325, .24792, .34655, -2.4681},
	{350, .25591, .34951, -2.9641}, {375, .26400, .35200, -3.5814}, {400, .27218, .35407, -4.3633}, {425, .28039, .35577, -5.3762},
	{450, .28863, .35714, -6.7262}, {475, .29685, .35823, -8.5955}, {500, .30505, .35907, -11.324}, {525, .31320, .35968, -15.628},
	{550, .32129, .36011, -23.325}, {575, .32931, .36038, -40.770}, {600, .33724, .36051, -116.45},
}

// direction is the unit vector along isotherm i, pointing below the locus.
func direction(i int) (du, dv float64) {
	l := math.Hypot(1, isotherms[i][3])
	return 1 / l, isotherms[i][3] / l
}

// CCTRobertson returns correlated colour temperature in K and Duv by
// Robertson's isotemperature lines, from 1667 K up: the method of the reference
// code of the DNG specification, kept for camera calibration and as a check of
// [CCT]. An unknown chromaticity gives zeros.
func CCTRobertson(c XY) (kelvin, duv float64) {
	if !c.Known() {
		return 0, 0
	}
	u, v := c.UV()
	// Walk down in temperature until the point lies on the near side of a line.
	i, before, d := 0, 0.0, 0.0
	for i = 1; ; i++ {
		before, d = lineDistance(i-1, u, v), lineDistance(i, u, v)
		if d <= 0 || i == len(isotherms)-1 {
			break
		}
	}
	f := math.Min(1, -math.Min(0, d)/(math.Max(0, before)-math.Min(0, d)+1e-300)) // share of line i-1
	m, lu, lv, du, dv := isotherm(i, f)
	return 1e6 / math.Max(m, 1e-3), -((u-lu)*du + (v-lv)*dv)
}

// LightRobertson returns the chromaticity of the light of the given correlated
// colour temperature in K (1667 and more) and Duv, by the same lines.
func LightRobertson(kelvin, duv float64) XY {
	m := 1e6 / kelvin
	i := 1
	for i < len(isotherms)-1 && isotherms[i][0] < m {
		i++
	}
	f := (isotherms[i][0] - m) / (isotherms[i][0] - isotherms[i-1][0])
	_, u, v, du, dv := isotherm(i, f)
	return FromUV(u-duv*du, v-duv*dv)
}

// lineDistance is the signed distance of (u, v) from isotherm i; positive
// towards lower temperatures.
func lineDistance(i int, u, v float64) float64 {
	du, dv := direction(i)
	return (v-isotherms[i][2])*du - (u-isotherms[i][1])*dv
}

// isotherm interpolates between lines i-1 (share f) and i: mired, the point on
// the locus and the unit vector along the line.
func isotherm(i int, f float64) (mired, u, v, du, dv float64) {
	a, b := &isotherms[i-1], &isotherms[i]
	du0, dv0 := direction(i - 1)
	du1, dv1 := direction(i)
	du, dv = du0*f+du1*(1-f), dv0*f+dv1*(1-f)
	l := math.Hypot(du, dv)
	return a[0]*f + b[0]*(1-f), a[1]*f + b[1]*(1-f), a[2]*f + b[2]*(1-f), du / l, dv / l
}
