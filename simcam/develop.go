package simcam

import (
	"image"
	"math"
	"sync"

	"mullion/colour"
)

// developer turns balanced camera RGB into the camera's own rendering: 8-bit
// sRGB (IEC 61966-2-1) after a mild tone curve. It is a stand-in for what is in a
// camera, so it stays apart from the stations that are tested with it.
type developer struct {
	gain   [3]float32 // 1 / neutral
	matrix [3][3]float32
}

func (r *Raw) developer() developer {
	var d developer
	n := r.Frame.Neutral
	for i := range 3 {
		d.gain[i] = 1
		if n[i] > 0 {
			d.gain[i] = float32(1 / n[i])
		}
	}
	m := r.Camera.Matrix.Mul(xyzFromBT709)
	back := inverse(m).Mul(colour.Diag(m.Apply(colour.Vec3{1, 1, 1})))
	for i := range 3 {
		for j := range 3 {
			d.matrix[i][j] = float32(back[i][j])
		}
	}
	return d
}

// pixel develops one camera RGB, 1 = clipping.
func (d *developer) pixel(r, g, b float32) (uint8, uint8, uint8) {
	r, g, b = unit(r*d.gain[0]), unit(g*d.gain[1]), unit(b*d.gain[2])
	m, t := &d.matrix, toneCode()
	return t[code(m[0][0]*r+m[0][1]*g+m[0][2]*b)],
		t[code(m[1][0]*r+m[1][1]*g+m[1][2]*b)],
		t[code(m[2][0]*r+m[2][1]*g+m[2][2]*b)]
}

func unit(v float32) float32 {
	switch {
	case v < 0:
		return 0
	case v > 1:
		return 1
	}
	return v
}

const toneSteps = 1 << 15

func code(v float32) int { return int(unit(v)*(toneSteps-1) + 0.5) }

// toneCode maps linear 0..1 to 8-bit codes: a curve that lifts the shadows and
// rolls off the highlights, then the sRGB transfer function.
var toneCode = sync.OnceValue(func() *[toneSteps]uint8 {
	curve := func(x float64) float64 { x *= 1.9; return x * (1 + .25*x) / (1 + .55*x) }
	t := new([toneSteps]uint8)
	for i := range t {
		x := min(1, curve(float64(i)/(toneSteps-1))/curve(1))
		if x <= .0031308 {
			x *= 12.92
		} else {
			x = 1.055*math.Pow(x, 1/2.4) - .055
		}
		t[i] = uint8(math.RoundToEven(255 * x))
	}
	return t
})

// preview is the frame as a small 8-bit RGB picture in the sensor's orientation:
// the photosites of each colour averaged over the area of a pixel.
func (r *Raw) preview(width int) (pix []byte, w, h int) {
	w = min(width, r.W/2)
	h = max(1, int(math.Round(float64(w*r.H)/float64(r.W))))
	dev := r.developer()
	scale := 1 / float32(r.Camera.White-r.Camera.Black)
	pix = make([]byte, 0, 3*w*h)
	for y := range h {
		y0, y1 := cells(y, h, r.H)
		for x := range w {
			x0, x1 := cells(x, w, r.W)
			m := r.mean(x0, x1, y0, y1)
			a, b, c := dev.pixel(m[0]*scale, m[1]*scale, m[2]*scale)
			pix = append(pix, a, b, c)
		}
	}
	return pix, w, h
}

// cells returns the even range of photosites under output sample i of n.
func cells(i, n, size int) (lo, hi int) {
	lo, hi = i*size/n&^1, (i+1)*size/n&^1
	if hi <= lo {
		hi = lo + 2
	}
	return lo, min(hi, size)
}

// mean returns the mean counts above black by colour.
func (r *Raw) mean(x0, x1, y0, y1 int) [3]float32 {
	var sum [3]int
	for y := y0; y+1 < y1; y += 2 {
		a, b := r.Pix[y*r.W+x0:y*r.W+x1], r.Pix[(y+1)*r.W+x0:(y+1)*r.W+x1]
		for x := 0; x+1 < len(a); x += 2 {
			sum[0] += int(a[x])
			sum[1] += int(a[x+1]) + int(b[x])
			sum[2] += int(b[x+1])
		}
	}
	n := float32((x1 - x0) / 2 * ((y1 - y0) / 2))
	black := float32(r.Camera.Black)
	return [3]float32{float32(sum[0])/n - black, float32(sum[1])/(2*n) - black, float32(sum[2])/n - black}
}

// fill develops one demosaiced row into row y of img.
func (d *developer) fill(img *image.RGBA, y int, r, g, b []float32) {
	out := img.Pix[y*img.Stride:]
	for x := range r {
		p := out[4*x : 4*x+4 : 4*x+4]
		p[0], p[1], p[2] = d.pixel(r[x], g[x], b[x])
		p[3] = 255
	}
}
