package simcam

import (
	"context"
	"math"

	"mullion/internal/raster"
)

// Move is how far the camera was knocked off the tripod's position before a
// frame, seen in the sensor's own orientation: first the picture turns about its
// centre, then it shifts.
type Move struct {
	// X and Y are how far the picture's content shifts, in sensor pixels, right
	// and down.
	X, Y float64
	// Turn is the roll of the camera in degrees, positive clockwise seen from
	// behind it, so that the content turns anticlockwise.
	Turn float64
}

// Apply returns where the point (x, y) of the unmoved frame lies in the moved
// one. Pixel centres are at +0.5; w and h are the size of the frame.
func (m Move) Apply(x, y float64, w, h int) (float64, float64) {
	s, c := math.Sincos(m.Turn * math.Pi / 180)
	dx, dy := x-float64(w)/2, y-float64(h)/2
	return float64(w)/2 + c*dx + s*dy + m.X, float64(h)/2 - s*dx + c*dy + m.Y
}

// undo returns the point of the unmoved frame that lies at (x, y).
func (m Move) undo(x, y float64, w, h int) (float64, float64) {
	s, c := math.Sincos(m.Turn * math.Pi / 180)
	dx, dy := x-m.X-float64(w)/2, y-m.Y-float64(h)/2
	return float64(w)/2 + c*dx - s*dy, float64(h)/2 + s*dx + c*dy
}

// floor keeps the logarithm of a black scene finite: 1e-4 cd/m2.
const floor = 1e-6

// resample returns a w x h picture of the plane, enlarged to that size and then
// moved. It interpolates log2 of the radiance, because a lamp is ten thousand
// times as bright as the wall beside it and any overshoot of a linear kernel
// would paint the wall black. The kernel is the cubic of Keys (IEEE Trans. ASSP
// 29, 1981), held to the range of the samples it looks at: it goes through every
// sample, keeps edges sharp and adds no ringing.
func resample(ctx context.Context, src *raster.Plane, w, h int, m Move) (*raster.Plane, error) {
	logs := raster.Get(src.W, src.H)
	defer raster.Put(logs)
	if err := raster.Bands(ctx, src.H, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			out := logs.Row(y)
			for x, v := range src.Row(y)[:len(out)] {
				if v < floor {
					v = floor
				}
				out[x] = float32(math.Log2(float64(v)))
			}
		}
	}); err != nil {
		return nil, err
	}
	// The way back is affine: one corner and two steps describe it.
	kx, ky := float64(src.W)/float64(w), float64(src.H)/float64(h)
	x0, y0 := m.undo(.5, .5, w, h)
	ax, ay := m.undo(1.5, .5, w, h)
	bx, by := m.undo(.5, 1.5, w, h)
	dst := raster.Get(w, h)
	err := raster.Bands(ctx, h, func(r0, r1 int) {
		for y := r0; y < r1; y++ {
			f := float64(y)
			sx, sy := kx*(x0+f*(bx-x0))-.5, ky*(y0+f*(by-y0))-.5
			resampleRow(dst.Row(y), logs, sx, sy, kx*(ax-x0), ky*(ay-y0))
		}
	})
	if err != nil {
		raster.Put(dst)
		return nil, err
	}
	return dst, nil
}

// resampleRow samples logs at (sx + i dx, sy + i dy), where sample centres lie at
// whole numbers, and writes the powers of two.
func resampleRow(dst []float32, logs *raster.Plane, sx, sy, dx, dy float64) {
	var rows [4][]float32
	last := math.MinInt
	for i := range dst {
		x, y := sx+float64(i)*dx, sy+float64(i)*dy
		fx, fy := math.Floor(x), math.Floor(y)
		ix, iy := int(fx), int(fy)
		if iy != last {
			last = iy
			for j := range rows {
				rows[j] = logs.Row(max(0, min(logs.H-1, iy-1+j)))
			}
		}
		wx, wy := keys(float32(x-fx)), keys(float32(y-fy))
		lo, hi := float32(math.MaxFloat32), float32(-math.MaxFloat32)
		var sum float32
		for j, row := range rows {
			var t [4]float32
			if ix >= 1 && ix+2 < len(row) {
				copy(t[:], row[ix-1:ix+3])
			} else {
				for k := range t {
					t[k] = row[max(0, min(len(row)-1, ix-1+k))]
				}
			}
			for _, v := range t {
				if v < lo {
					lo = v
				}
				if v > hi {
					hi = v
				}
			}
			sum += wy[j] * (wx[0]*t[0] + wx[1]*t[1] + wx[2]*t[2] + wx[3]*t[3])
		}
		if sum < lo {
			sum = lo
		}
		if sum > hi {
			sum = hi
		}
		dst[i] = float32(math.Exp2(float64(sum)))
	}
}

// keys returns the weights of the samples at -1, 0, 1, 2 for a point at t in 0..1.
func keys(t float32) [4]float32 {
	return [4]float32{
		t * (-.5 + t*(1-.5*t)),
		1 + t*t*(-2.5+1.5*t),
		t * (.5 + t*(2-1.5*t)),
		t * t * (-.5 + .5*t),
	}
}
