package lens

import (
	"math"

	"mullion/metadata"
)

// OfFile returns the profile that a file itself asks for (see [metadata.Optics]), for
// its picture of w x h pixels as the sensor lies; nil when it asks for nothing.
func OfFile(o metadata.Optics, w, h int) *Profile {
	if o.Planes == 0 && !o.HasShade || w < 1 || h < 1 {
		return nil
	}
	p := New("the file's own lens correction", "written into the file by its maker")
	cx, cy := o.WarpX, o.WarpY
	if o.Planes == 0 {
		cx, cy = o.ShadeX, o.ShadeY
	}
	half := math.Hypot(float64(w), float64(h)) / 2
	p.CentreX, p.CentreY = (cx-0.5)*float64(w)/half, (cy-0.5)*float64(h)/half
	if o.Planes > 0 {
		unit := corner(cx, cy, w, h) / half
		green := 0
		if o.Planes == 3 {
			green = 1
			p.Red = against(o, 0, green).in(1 / unit)
			p.Blue = against(o, 2, green).in(1 / unit)
		}
		p.Distortion = radial(o, green).in(1 / unit)
		p.Tangential = [2]float64{o.Warp[green][4] / unit, o.Warp[green][5] / unit}
	}
	if o.HasShade {
		unit := corner(o.ShadeX, o.ShadeY, w, h) / half
		p.Lift = Lift{1}
		for i, k := range o.Shade {
			p.Lift[i+1] = k / math.Pow(unit, 2*float64(i+1))
		}
	}
	return p
}

// corner is the distance in pixels from a centre to the farthest corner.
func corner(cx, cy float64, w, h int) float64 {
	return math.Hypot(max(cx, 1-cx)*float64(w), max(cy, 1-cy)*float64(h))
}

// radial returns the ratio of a file's warp for one colour, exactly or, where it is no
// polynomial, fitted over the picture.
func radial(o metadata.Optics, plane int) Radial {
	w := o.Warp[plane]
	switch {
	case o.Kind == metadata.WarpRectilinear:
		return Radial{w[0], 0, w[1], 0, w[2], 0, w[3]}
	case o.Kind == metadata.WarpRectilinear2 && o.Between[0] == 0 && o.Between[1] >= 1:
		return Radial(o.Long[plane])
	}
	step, most := 1, 1.0
	if o.Kind == metadata.WarpFisheye {
		step, most = 2, 1.1 // the ratio is even, and goes on beyond the corner
	}
	return fit(step, most, func(r float64) (at, ratio float64) { return r, o.At(plane, r) / r })
}

// against returns what takes the radius at which green is drawn to that of another
// colour: the even polynomial that fits the ratio of the two warps best. It is exact
// but for terms that are products of small numbers.
func against(o metadata.Optics, plane, green int) Radial {
	return fit(2, 1, func(r float64) (at, ratio float64) {
		g := o.At(green, r)
		return g, o.At(plane, r) / g
	})
}

// fit returns the polynomial in every step-th power that has the ratios which f gives at
// the places it gives, for radii up to most that are close together at both ends
// (Chebyshev's nodes), where a polynomial through all of them strays least.
func fit(step int, most float64, f func(r float64) (at, ratio float64)) Radial {
	n := 13
	if step == 2 {
		n = 8
	}
	u, d := make([]float64, n), make([]float64, n)
	for i := range n {
		r := most * (1 - math.Cos(math.Pi*(float64(i)+0.5)/float64(n))) / 2
		at, ratio := f(r)
		u[i], d[i] = math.Pow(at, float64(step)), ratio
	}
	for k := 1; k < n; k++ { // Newton's divided differences
		for i := n - 1; i >= k; i-- {
			d[i] = (d[i] - d[i-1]) / (u[i] - u[i-k])
		}
	}
	c := make([]float64, n) // of the powers of u
	for k := n - 1; k >= 0; k-- {
		for i := n - 1; i > 0; i-- {
			c[i] = c[i-1] - u[k]*c[i]
		}
		c[0] = d[k] - u[k]*c[0]
	}
	var x Radial
	for i, v := range c {
		x[step*i] = v
	}
	return x
}

func sq(x float64) float64 { return x * x }
