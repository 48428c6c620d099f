package whitebalance

import (
	"math"
	"slices"

	"mullion/colour"
	"mullion/internal/raster"
)

// what tells which surfaces of the rendered house are repainted, by their albedo.
type what func(lab colour.Lab) bool

func chromaOfLab(l colour.Lab) float64 { return math.Hypot(l.A, l.B) }

// walls are the large pale surfaces that are not white.
func walls(l colour.Lab) bool  { return l.L > 75 && chromaOfLab(l) >= 3 && chromaOfLab(l) < 9 }
func fabric(l colour.Lab) bool { return l.L > 25 && l.L <= 75 && chromaOfLab(l) < 14 }
func floors(l colour.Lab) bool { return l.L > 30 && l.L < 70 && l.B > 12 && l.A > 2 && l.A < 20 }

// repainted gives the surfaces another paint, linear sRGB reflectance; their shading and
// the light that falls on them stay.
func (r *room) repainted(which what, to colour.Vec3) *room {
	q := *r
	q.img, q.albedo = r.img.Clone(), r.albedo.Clone()
	wide := colour.SRGBToBT2020.Apply(to)
	for i, glass := range r.window.Pix {
		a := at(r.albedo, i)
		if glass > 0.01 || !which(colour.ToLab(colour.SRGBToXYZ.Apply(a), colour.D65.XYZ())) {
			continue
		}
		was := colour.SRGBToBT2020.Apply(a)
		for k := range 3 {
			q.img[k].Pix[i] *= float32(wide[k] / math.Max(was[k], 0.01))
			q.albedo[k].Pix[i] = float32(to[k])
		}
	}
	return &q
}

// relit parts the light of every pixel into daylight and lamps by their measured
// colours and puts other ones in their place: day and lamp are factors in linear BT.2020.
func (r *room) relit(day, lamp colour.Vec3) *room {
	q := *r
	q.img = r.img.Clone()
	d, l := r.source("daylight"), r.source("lamps")
	for i := range r.window.Pix {
		light := at(r.img, i)
		a := colour.SRGBToBT2020.Apply(at(r.albedo, i))
		for k := range 3 {
			light[k] /= math.Max(a[k], 0.01)
		}
		// Least squares of light = u d + v l.
		dd, dl, ll := dot(d, d), dot(d, l), dot(l, l)
		pd, pl := dot(d, light), dot(l, light)
		det := dd*ll - dl*dl
		u, v := math.Max(0, (pd*ll-pl*dl)/det), math.Max(0, (pl*dd-pd*dl)/det)
		if r.window.Pix[i] > 0.01 {
			u, v = 1, 0
		}
		for k := range 3 {
			old := u*d[k] + v*l[k]
			if old > 0 {
				q.img[k].Pix[i] *= float32((u*d[k]*day[k] + v*l[k]*lamp[k]) / old)
			}
		}
	}
	return &q
}

func dot(a, b colour.Vec3) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// source is the colour of a light on white, linear BT.2020.
func (r *room) source(group string) colour.Vec3 {
	for _, l := range r.lights {
		if l.Group == group {
			return colour.XYZToBT2020.Apply(colour.XY{X: l.XY[0], Y: l.XY[1]}.XYZ())
		}
	}
	return colour.Vec3{1, 1, 1}
}

// turned is the factor that makes a light of one colour temperature another.
func turned(from, to colour.XY, f float64) (v colour.Vec3) {
	a, b := colour.XYZToBT2020.Apply(from.XYZ()), colour.XYZToBT2020.Apply(to.XYZ())
	for k := range 3 {
		v[k] = f * b[k] / a[k]
	}
	return v
}

// mirrored is the view seen in a mirror.
func (r *room) mirrored() *room {
	q := *r
	flip := func(p *raster.Plane) *raster.Plane {
		o := p.Clone()
		for y := range o.H {
			slices.Reverse(o.Row(y))
		}
		return o
	}
	q.window = flip(r.window)
	q.img, q.albedo = &raster.RGB{}, &raster.RGB{}
	for k := range 3 {
		q.img[k], q.albedo[k] = flip(r.img[k]), flip(r.albedo[k])
	}
	return &q
}

// only keeps what another view of the room shows within a part of the frame, given in
// shares of its width and height, and takes the rest from r.
func (r *room) only(q *room, x0, y0, x1, y1 float64) *room {
	out := *q
	out.img, out.albedo = r.img.Clone(), r.albedo.Clone()
	w, h := r.img.W(), r.img.H()
	for y := int(y0 * float64(h)); y < int(y1*float64(h)); y++ {
		for x := int(x0 * float64(w)); x < int(x1*float64(w)); x++ {
			i := y*w + x
			for k := range 3 {
				out.img[k].Pix[i], out.albedo[k].Pix[i] = q.img[k].Pix[i], q.albedo[k].Pix[i]
			}
		}
	}
	return &out
}
