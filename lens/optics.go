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
		green := o.Warp[0]
		if o.Planes == 3 {
			green = o.Warp[1]
			p.Red = against(o.Warp[0], green).in(1 / unit)
			p.Blue = against(o.Warp[2], green).in(1 / unit)
		}
		p.Distortion = radial(green).in(1 / unit)
		p.Tangential = [2]float64{green[4] / unit, green[5] / unit}
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

func radial(w [6]float64) Radial { return Radial{w[0], 0, w[1], 0, w[2], 0, w[3]} }

// against returns what takes the radius at which green is drawn to that of another
// colour: the even polynomial that fits the ratio of the two warps best. It is exact
// but for terms that are products of small numbers.
func against(w, green [6]float64) Radial {
	var a [4][5]float64 // normal equations for r^0, r^2, r^4, r^6
	for i := 1; i <= 100; i++ {
		r := float64(i) / 100
		g := radial(green).At(r)
		q, target := sq(r*g), radial(w).At(r)/g
		t := [4]float64{1, q, q * q, q * q * q}
		for j := range 4 {
			for k := range 4 {
				a[j][k] += t[j] * t[k]
			}
			a[j][4] += t[j] * target
		}
	}
	x := solve4(a)
	return Radial{x[0], 0, x[1], 0, x[2], 0, x[3]}
}

func sq(x float64) float64 { return x * x }

// solve4 solves normal equations, which are positive definite, by elimination.
func solve4(a [4][5]float64) (x [4]float64) {
	for c := range 4 {
		for r := c + 1; r < 4; r++ {
			f := a[r][c] / a[c][c]
			for k := c; k < 5; k++ {
				a[r][k] -= f * a[c][k]
			}
		}
	}
	for r := 3; r >= 0; r-- {
		x[r] = a[r][4]
		for c := r + 1; c < 4; c++ {
			x[r] -= a[r][c] * x[c]
		}
		x[r] /= a[r][r]
	}
	return x
}
