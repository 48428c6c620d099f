package colour

import (
	"math"
	"sync"
)

// The Planckian table of Ohno's method: temperatures from 1000 K rising by a
// quarter of a per cent to beyond 100 000 K.
const (
	tableFrom = 1000.
	tableStep = 1.0025
	tableRows = 1846
)

type planckRow struct{ t, u, v float64 }

var planckTable = sync.OnceValue(func() *[tableRows]planckRow {
	t := new([tableRows]planckRow)
	k := tableFrom
	for i := range t {
		u, v := planckUV(k)
		t[i] = planckRow{k, u, v}
		k *= tableStep
	}
	return t
})

// CCT returns the correlated colour temperature in K and Duv of chromaticity c
// (Ohno, LEUKOS 10:47, 2014: Planckian table, triangular solution near the
// locus, parabolic solution away from it). It holds from 1000 K to 100 000 K for
// |Duv| up to about 0.05; results are clamped to that range of temperature. An
// unknown chromaticity gives zeros.
func CCT(c XY) (kelvin, duv float64) {
	if !c.Known() {
		return 0, 0
	}
	u, v := c.UV()
	t := planckTable()
	m := nearestRow(t, u, v)
	a, b, d := t[m-1], t[m], t[m+1]
	da, db, dd := math.Hypot(u-a.u, v-a.v), math.Hypot(u-b.u, v-b.v), math.Hypot(u-d.u, v-d.v)
	kelvin, duv = parabolic(a, b, d, da, db, dd)
	if math.Abs(duv) < 0.002 {
		kelvin, duv = triangular(a, d, da, dd)
	}
	kelvin = math.Max(t[0].t, math.Min(t[tableRows-1].t, kelvin))
	// The sign: which side of the chord from a to d the point lies on.
	if (d.u-a.u)*(v-a.v)-(d.v-a.v)*(u-a.u) > 0 {
		duv = -duv
	}
	return kelvin, duv
}

// nearestRow returns the inner row nearest to (u, v). Distance along the locus
// falls and rises once in the useful range, so a coarse pass finds the valley.
func nearestRow(t *[tableRows]planckRow, u, v float64) int {
	const stride = 16
	dist := func(i int) float64 { du, dv := u-t[i].u, v-t[i].v; return du*du + dv*dv }
	best := 1
	for i := 1; i < tableRows-1; i += stride {
		if dist(i) < dist(best) {
			best = i
		}
	}
	lo, hi := max(1, best-stride), min(tableRows-2, best+stride)
	for i := lo; i <= hi; i++ {
		if dist(i) < dist(best) {
			best = i
		}
	}
	return best
}

// triangular places the foot of the perpendicular on the chord from a to d.
func triangular(a, d planckRow, da, dd float64) (kelvin, duv float64) {
	l := math.Hypot(d.u-a.u, d.v-a.v)
	x := (da*da - dd*dd + l*l) / (2 * l)
	return a.t + (d.t-a.t)*x/l, math.Sqrt(math.Max(0, da*da-x*x))
}

// parabolic fits distance against temperature through three rows.
func parabolic(a, b, d planckRow, da, db, dd float64) (kelvin, duv float64) {
	x := (d.t - b.t) * (a.t - d.t) * (b.t - a.t)
	p := (a.t*(dd-db) + b.t*(da-dd) + d.t*(db-da)) / x
	q := -(a.t*a.t*(dd-db) + b.t*b.t*(da-dd) + d.t*d.t*(db-da)) / x
	r := -(da*(d.t-b.t)*b.t*d.t + db*(a.t-d.t)*a.t*d.t + dd*(b.t-a.t)*a.t*b.t) / x
	kelvin = -q / (2 * p)
	return kelvin, (p*kelvin+q)*kelvin + r
}

// Light returns the chromaticity of the light of the given correlated colour
// temperature in K (1000 to 100 000) and Duv: the point at distance duv on the
// normal of the Planckian locus (Ohno 2014).
func Light(kelvin, duv float64) XY {
	u, v := planckUV(kelvin)
	if duv == 0 {
		return FromUV(u, v)
	}
	u2, v2 := planckUV(kelvin * 1.0001)
	du, dv := u2-u, v2-v
	l := math.Hypot(du, dv)
	return FromUV(u+duv*dv/l, v-duv*du/l)
}

// Daylight returns the chromaticity of the CIE daylight phase of the given
// correlated colour temperature in K, 4000 to 25 000 and clamped there (CIE
// 15:2004, eq. 3.2 to 3.4).
func Daylight(kelvin float64) XY {
	t := math.Max(4000, math.Min(25000, kelvin))
	var x float64
	if t <= 7000 {
		x = -4.6070e9/(t*t*t) + 2.9678e6/(t*t) + 0.09911e3/t + 0.244063
	} else {
		x = -2.0064e9/(t*t*t) + 1.9018e6/(t*t) + 0.24748e3/t + 0.237040
	}
	return XY{x, -3.000*x*x + 2.870*x - 0.275}
}
