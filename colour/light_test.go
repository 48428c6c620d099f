package colour

import (
	"fmt"
	"math"
	"testing"
)

// CIE 1960 uv of the Planckian locus: colour-science's unit tests (test_planck1900)
// for 4000, 7000 and 25 000 K, Robertson's printed table for 2000 and 5000 K.
func TestPlanck(t *testing.T) {
	for _, c := range []struct{ k, u, v, tol float64 }{
		{4000, .225109670227493, .334387366663923, 3e-6},
		{7000, .198126929048352, .307025980523306, 3e-6},
		{25000, .182932683590136, .274073232217536, 3e-6},
		{2000, .30505, .35907, 1e-5},
		{5000, .21142, .32312, 1e-5},
	} {
		u, v := Light(c.k, 0).UV()
		near(t, fmt.Sprint("u at ", c.k), u, c.u, c.tol)
		near(t, fmt.Sprint("v at ", c.k), v, c.v, c.tol)
	}
}

// Ohno 2013: values of colour-science's test_ohno2013.
func TestCCT(t *testing.T) {
	for _, c := range []struct{ u, v, k, duv float64 }{
		{.1978, .3122, 6507.4748, .0032233},
		{.4328, .2883, 1041.678, -.0673781},
		{.2927, .2722, 2444.972, -.0843706},
	} {
		k, d := CCT(FromUV(c.u, c.v))
		near(t, fmt.Sprintf("kelvin of %v %v", c.u, c.v), k, c.k, 1)
		near(t, "Duv", d, c.duv, 2e-5)
	}
	if k, d := CCT(XY{}); k != 0 || d != 0 {
		t.Errorf("an unknown light has %v K %v", k, d)
	}
}

// Light and CCT are each other's inverse within Ohno's stated 1 K.
func TestLightRoundTrip(t *testing.T) {
	for _, k := range []float64{1100, 1800, 2700, 3000, 4000, 5003, 6504, 9000, 15000} {
		for _, d := range []float64{-.03, -.01, -.003, -.0005, 0, .0005, .003, .01, .03} {
			gk, gd := CCT(Light(k, d))
			near(t, fmt.Sprintf("kelvin at %v K %v", k, d), gk, k, 1+k*k*2e-8)
			near(t, fmt.Sprintf("Duv at %v K %v", k, d), gd, d, 2e-5)
		}
	}
}

func TestCCTNamedLights(t *testing.T) {
	for _, c := range []struct {
		name   string
		xy     XY
		k, tol float64
	}{
		{"A", IlluminantA, 2856, 1.5}, {"D50", D50, 5003, 3}, {"D55", D55, 5503, 3}, {"D65", D65, 6504, 3}, {"D75", D75, 7504, 4},
	} {
		k, _ := CCT(c.xy)
		near(t, c.name, k, c.k, c.tol)
		r, _ := CCTRobertson(c.xy)
		near(t, c.name+" by Robertson", r, c.k, 12)
	}
}

// Robertson 1968: the round trip of all 100 reference points (colour-science's
// test_robertson1968) through our lines.
func TestRobertson(t *testing.T) {
	for _, row := range reference(t, "robertson1968_cct_duv_to_uv.csv") {
		k, duv := number(t, row[0]), number(t, row[1])
		u, v := LightRobertson(k, duv).UV()
		near(t, fmt.Sprintf("u of %v K %v", k, duv), u, number(t, row[2]), 1e-9)
		near(t, fmt.Sprintf("v of %v K %v", k, duv), v, number(t, row[3]), 1e-9)
		if math.Abs(duv) > .03 {
			continue
		}
		gk, gd := CCTRobertson(FromUV(u, v))
		near(t, fmt.Sprintf("kelvin of %v K %v", k, duv), gk, k, 1e-3*k)
		near(t, "Duv", gd, duv, 5e-4)
	}
}

// A few of the same points inline, so that they are checked everywhere.
func TestRobertsonInline(t *testing.T) {
	for _, c := range [][4]float64{
		{2000, 0, .30505, .35907},
		{4500, -.025, .233393122238719, .309269114669175},
		{4500, .025, .201269099983503, .347584218664158},
		{7000, 0, .198191428571429, .306981428571429},
		{9500, .05, .146501681549470, .317332024579680},
	} {
		u, v := LightRobertson(c[0], c[1]).UV()
		near(t, "u", u, c[2], 1e-9)
		near(t, "v", v, c[3], 1e-9)
	}
}

// McCamy 1992 and Hernandez-Andres 1999: values of colour-science's unit tests.
func TestApproximations(t *testing.T) {
	near(t, "McCamy D65", CCTMcCamy(XY{.31270, .32900}), 6505.08059131, 1e-6)
	near(t, "McCamy A", CCTMcCamy(XY{.44757, .40745}), 2857.28961266, 1e-6)
	near(t, "McCamy blue", CCTMcCamy(XY{.252520939374083, .252220883926284}), 19501.61953130, 1e-6)
	near(t, "Hernandez D65", CCTHernandez(XY{.31270, .32900}), 6500.74204318, 1e-6)
	near(t, "Hernandez A", CCTHernandez(XY{.44757, .40745}), 2790.64222533, 1e-6)
	near(t, "Hernandez blue", CCTHernandez(XY{.244162248213914, .240333674758318}), 64448.11092565, 1e-4)
}

// CIE daylight locus: exact rational values (colour-science's test_cie_d), and
// D65 at its true temperature 6504 K x 1.4388/1.4380 (CIE 15).
func TestDaylight(t *testing.T) {
	for _, c := range [][3]float64{
		{4000, .382343625, .383766261015578}, {7000, .305357431486880, .321646345474552}, {25000, .24985367, .254799464210944},
	} {
		d := Daylight(c[0])
		near(t, "x", d.X, c[1], 5e-9)
		near(t, "y", d.Y, c[2], 5e-9)
	}
	d := Daylight(6500 * 1.4388 / 1.4380)
	near(t, "D65 x", d.X, D65.X, 2e-4)
	near(t, "D65 y", d.Y, D65.Y, 2e-4)
}

// Every tabled illuminant: Ohno's and Robertson's answers agree to 1 % and
// 3e-4 in Duv, and the light of that answer is the illuminant again.
func TestTabledIlluminants(t *testing.T) {
	for _, row := range reference(t, "illuminants_xy_2deg.csv") {
		c := XY{number(t, row[1]), number(t, row[2])}
		k, d := CCT(c)
		r, rd := CCTRobertson(c)
		near(t, row[0]+" kelvin", r, k, 0.01*k)
		near(t, row[0]+" Duv", rd, d, 3e-4)
		back := Light(k, d)
		near(t, row[0]+" x", back.X, c.X, 1e-4)
		near(t, row[0]+" y", back.Y, c.Y, 1e-4)
	}
}
