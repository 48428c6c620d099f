package finish

import (
	"math"

	"mullion/plumb"
	"mullion/warp"
)

// turnedFrom leads from places in the picture a to those in the picture b of the same
// frame, both in shares of width and height.
func turnedFrom(a, b plumb.Geometry) func(x, y float64) (float64, float64) {
	return func(x, y float64) (float64, float64) {
		sx, sy := a.Map.At(x*float64(a.W), y*float64(a.H))
		bx, by, _ := whence(b.Map, sx, sy, x*float64(b.W), y*float64(b.H))
		return bx / float64(b.W), by / float64(b.H)
	}
}

// whence is the place that m leads to (sx, sy), sought from (x, y) on by Newton's method
// with the map's own differences. ok is false where there is none near by; then it is
// where it was sought.
func whence(m warp.Map, sx, sy, x, y float64) (tx, ty float64, ok bool) {
	fromX, fromY := x, y
	for range 20 {
		ux, uy := m.At(x, y)
		ex, ey := sx-ux, sy-uy
		if math.Hypot(ex, ey) < 0.05 {
			return x, y, true
		}
		ax, ay := m.At(x+1, y)
		bx, by := m.At(x, y+1)
		ax, ay, bx, by = ax-ux, ay-uy, bx-ux, by-uy
		det := ax*by - bx*ay
		if !(math.Abs(det) > 1e-6) {
			break
		}
		x += (ex*by - ey*bx) / det
		y += (ax*ey - ay*ex) / det
	}
	return fromX, fromY, false
}
