package colour

import "math"

// CCTMcCamy returns correlated colour temperature in K by McCamy's cubic (Color
// Res. Appl. 17:142, 1992): good to a few kelvin from 2800 to 6500 K near the
// locus.
func CCTMcCamy(c XY) float64 {
	n := (c.X - 0.3320) / (c.Y - 0.1858)
	return ((-449*n+3525)*n-6823.3)*n + 5520.33
}

// CCTHernandez returns correlated colour temperature in K by the exponential
// formula of Hernandez-Andres, Lee and Romero (Appl. Opt. 38:5703, 1999), 3000 K
// to 800 000 K.
func CCTHernandez(c XY) float64 {
	n := (c.X - 0.3366) / (c.Y - 0.1735)
	t := -949.86315 + 6253.80338*math.Exp(-n/0.92159) + 28.70599*math.Exp(-n/0.20039) + 0.00004*math.Exp(-n/0.07125)
	if t > 50000 {
		n = (c.X - 0.3356) / (c.Y - 0.1691)
		t = 36284.48953 + 0.00228*math.Exp(-n/0.07861) + 5.4535e-36*math.Exp(-n/0.01543)
	}
	return t
}
