package lens

import (
	"math"
	"math/rand/v2"
	"testing"

	"mullion/metadata"
)

// specWarp is WarpRectilinear as the DNG specification writes it (1.4, chapter 6):
// where the pixel (x, y) of the corrected w x h picture is taken from.
func specWarp(k [6]float64, cx, cy float64, w, h int, x, y float64) (float64, float64) {
	px, py := cx*float64(w), cy*float64(h)
	m := math.Hypot(max(px, float64(w)-px), max(py, float64(h)-py))
	dx, dy := (x-px)/m, (y-py)/m
	q := dx*dx + dy*dy
	f := k[0] + k[1]*q + k[2]*q*q + k[3]*q*q*q
	tx := k[4]*(2*dx*dy) + k[5]*(q+2*dx*dx)
	ty := k[5]*(2*dx*dy) + k[4]*(q+2*dy*dy)
	return px + m*(f*dx+tx), py + m*(f*dy+ty)
}

// The warps that are no even polynomial, against the specification's formulas.
func TestOtherWarps(t *testing.T) {
	const w, h = 6000, 4000
	half := math.Hypot(w, h) / 2
	var wide, plain, over, clamped metadata.Optics
	wide.Kind, plain.Kind, over.Kind = metadata.WarpFisheye, metadata.WarpRectilinear2, metadata.WarpReciprocal
	// A lens whose picture reaches 45 degrees at the corner, drawn by its angle.
	copy(wide.Long[0][:], []float64{0.95, -0.01, 0.004, 0.001})
	copy(plain.Long[0][:], []float64{1, -0.01, 0.02, -0.08, 0, 0.03, 0, 0, 0.005, 0, 0, 0, 0, 0, 0.002})
	copy(over.Long[0][:], []float64{1, 0, 0.05, 0.02, 0, 0, 0.01})
	plain.Between, over.Between = [2]float64{0, 1}, [2]float64{0, 1}
	clamped = plain
	clamped.Between = [2]float64{0, 0.97}
	for i, o := range []metadata.Optics{wide, plain, over, clamped} {
		o.Planes, o.WarpX, o.WarpY = 1, 0.5, 0.5
		p := OfFile(o, w, h)
		var worst float64
		for r := 0.01; r <= 1; r += 0.01 {
			want := half * o.At(0, r)
			worst = max(worst, math.Abs(half*p.Distort(r)-want), math.Abs(half*(p.Undistort(p.Distort(r))-r)))
		}
		t.Logf("kind %d: worst %.4f px of %d", o.Kind, worst, w)
		limit := 0.05
		if i == 3 { // a polynomial has no corner
			limit = 1
		}
		if !(worst < limit) {
			t.Errorf("kind %d: off by %.3f px", o.Kind, worst)
		}
	}
}

// A file's own correction, all colours and the vignetting, against the
// specification's formulas, with the centre off the middle and tangential terms.
func TestOfFile(t *testing.T) {
	const w, h = 6000, 4000
	half := math.Hypot(w, h) / 2
	o := metadata.Optics{Planes: 3, WarpX: 0.503, WarpY: 0.492, HasShade: true,
		Shade: [5]float64{0.31, 0.12, -0.03, 0.02, 0.01}, ShadeX: 0.503, ShadeY: 0.492,
		Warp: [3][6]float64{
			{1.0004, -0.0561, 0.0082, -0.001, 4e-4, -3e-4},
			{1.0000, -0.0560, 0.0080, -0.001, 4e-4, -3e-4},
			{0.9995, -0.0557, 0.0079, -0.001, 4e-4, -3e-4},
		}}
	p := OfFile(o, w, h)
	cx, cy := w/2+p.CentreX*half, h/2+p.CentreY*half
	r := rand.New(rand.NewPCG(1, 2))
	var worst, shade float64
	for range 500 {
		x, y := w*r.Float64(), h*r.Float64()
		dx, dy := (x-cx)/half, (y-cy)/half
		rad := math.Hypot(dx, dy)
		k := p.Distort(rad) / rad
		dx, dy = k*dx, k*dy
		sx, sy := p.Shift(dx, dy)
		dx, dy = dx+sx, dy+sy
		for c := range 3 {
			k := p.Channel(c, math.Hypot(dx, dy))
			wantX, wantY := specWarp(o.Warp[c], o.WarpX, o.WarpY, w, h, x, y)
			worst = max(worst, math.Hypot(cx+k*dx*half-wantX, cy+k*dy*half-wantY))
		}
		m := math.Hypot(o.ShadeX*w, (1-o.ShadeY)*h)
		q := (sq(x-o.ShadeX*w) + sq(y-o.ShadeY*h)) / (m * m)
		want := 1 + q*(o.Shade[0]+q*(o.Shade[1]+q*(o.Shade[2]+q*(o.Shade[3]+q*o.Shade[4]))))
		shade = max(shade, math.Abs(p.Gain(math.Hypot(x-cx, y-cy)/half)/want-1))
	}
	t.Logf("worst %.4f px of %d, gain %.1e", worst, w, shade)
	if worst > 0.05 || shade > 1e-9 {
		t.Errorf("off by %.3f px, gain by %.1e", worst, shade)
	}
	if OfFile(metadata.Optics{}, w, h) != nil {
		t.Error("a profile of a file that asks for nothing")
	}
	if !p.Bends() || !p.Lateral() || !p.Shades() {
		t.Error("a part of the correction is passed over")
	}
}
