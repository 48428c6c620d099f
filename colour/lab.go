package colour

import "math"

// Lab is a CIE 1976 L*a*b* colour: L 0..100, a and b unbounded.
type Lab struct{ L, A, B float64 }

// ToLab returns the L*a*b* of xyz seen against white, both in the same unit
// (CIE 15:2004, with the exact constants 216/24389 and 24389/27).
func ToLab(xyz, white Vec3) Lab {
	fx, fy, fz := labF(xyz[0]/white[0]), labF(xyz[1]/white[1]), labF(xyz[2]/white[2])
	return Lab{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
}

func labF(t float64) float64 {
	if t > 216./24389 {
		return math.Cbrt(t)
	}
	return (24389./27*t + 16) / 116
}

// XYZ is the inverse of [ToLab].
func (c Lab) XYZ(white Vec3) Vec3 {
	fy := (c.L + 16) / 116
	inv := func(f float64) float64 {
		if f > 6./29 {
			return f * f * f
		}
		return (116*f - 16) * 27 / 24389
	}
	return Vec3{inv(fy+c.A/500) * white[0], inv(fy) * white[1], inv(fy-c.B/200) * white[2]}
}

// LCh returns lightness, chroma and hue in degrees 0..360.
func (c Lab) LCh() (l, chroma, hue float64) {
	return c.L, math.Hypot(c.A, c.B), degrees(c.A, c.B)
}

// degrees is the hue angle of (a, b), 0..360, and 0 for a grey.
func degrees(a, b float64) float64 {
	if a == 0 && b == 0 {
		return 0
	}
	h := math.Atan2(b, a) * 180 / math.Pi
	if h < 0 {
		h += 360
	}
	return h
}

// DeltaE is the CIEDE2000 colour difference with all parametric factors 1
// (CIE 142-2001; Sharma, Wu and Dalal, Color Res. Appl. 30:21, 2005). About 1 is
// just noticed side by side.
func DeltaE(p, q Lab) float64 {
	c := (math.Hypot(p.A, p.B) + math.Hypot(q.A, q.B)) / 2
	g := 0.5 * (1 - math.Sqrt(pow7(c)/(pow7(c)+pow7(25))))
	a1, a2 := (1+g)*p.A, (1+g)*q.A
	c1, c2 := math.Hypot(a1, p.B), math.Hypot(a2, q.B)
	h1, h2 := degrees(a1, p.B), degrees(a2, q.B)

	dh, hm := hueDifference(h1, h2, c1*c2 == 0)
	dH := 2 * math.Sqrt(c1*c2) * sinDeg(dh/2)
	dL, dC := q.L-p.L, c2-c1
	lm, cm := (p.L+q.L)/2, (c1+c2)/2

	t := 1 - 0.17*cosDeg(hm-30) + 0.24*cosDeg(2*hm) + 0.32*cosDeg(3*hm+6) - 0.20*cosDeg(4*hm-63)
	l50 := (lm - 50) * (lm - 50)
	sl := 1 + 0.015*l50/math.Sqrt(20+l50)
	sc := 1 + 0.045*cm
	sh := 1 + 0.015*cm*t
	turn := (hm - 275) / 25
	rt := -2 * math.Sqrt(pow7(cm)/(pow7(cm)+pow7(25))) * sinDeg(60*math.Exp(-turn*turn))

	l, ch, h := dL/sl, dC/sc, dH/sh
	return math.Sqrt(l*l + ch*ch + h*h + rt*ch*h)
}

// hueDifference returns the signed difference and the mean of two hues in
// degrees by the case lists of the standard.
func hueDifference(h1, h2 float64, grey bool) (d, mean float64) {
	if grey {
		return 0, h1 + h2
	}
	d = h2 - h1
	switch {
	case math.Abs(d) <= 180:
		return d, (h1 + h2) / 2
	case d > 180:
		d -= 360
	default:
		d += 360
	}
	mean = (h1 + h2 + 360) / 2
	if h1+h2 >= 360 {
		mean -= 360
	}
	return d, mean
}

func pow7(x float64) float64   { y := x * x * x; return y * y * x }
func sinDeg(a float64) float64 { return math.Sin(a * math.Pi / 180) }
func cosDeg(a float64) float64 { return math.Cos(a * math.Pi / 180) }
