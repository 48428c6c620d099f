package plumb

import (
	"math"

	"mullion/lens"
	"mullion/warp"
)

// PlanOptions say what to correct. The zero value corrects what the pose is sure
// of and keeps at least half of the picture.
type PlanOptions struct {
	// Orientation is the Exif orientation (1-8) of the source; with it the map
	// leads from the upright output straight to the picture as the sensor lies.
	// 0 counts as 1.
	Orientation int
	// Leave leaves pitch, roll and yaw as they are; the lens is still corrected.
	Leave bool
	// LeaveYaw leaves the yaw alone.
	LeaveYaw bool
	// MinKept is the smallest share of the picture that may be left after the
	// crop; 0 means 0.5. A correction that would cost more is made by half (see
	// [Geometry]), or not at all.
	MinKept float64
}

// Geometry is a planned correction: where each pixel of the upright output comes
// from, and how much of the picture that keeps.
type Geometry struct {
	W, H      int     // natural size of the output: the source's scale in the middle
	CropKept  float64 // share of the source's area that is kept, 0 to 1
	Corrected bool    // pitch, roll or yaw were corrected
	// Partly: something was left out, as the whole correction would cost too much:
	// yaw, half of the pitch, all of it, or, when Corrected is false, everything.
	Partly bool
	Map    warp.Map // from an output of W x H pixels; see [Geometry.MapFor]
}

// MapFor returns the map for an output of another size and the same shape.
func (g Geometry) MapFor(w, h int) warp.Map { return g.Map.Scaled(g.W, g.H, w, h) }

// At returns the same correction with an output of another size and the same shape.
func (g Geometry) At(w, h int) Geometry {
	g.Map = g.MapFor(w, h)
	g.W, g.H = w, h
	return g
}

// alreadyPlumb is the tilt in degrees that nobody sees.
const alreadyPlumb = 0.1

// Plan returns the correction for an upright picture of w x h pixels.
//
// The correction is a rotation about the camera's centre, a homography, composed
// with the lens's distortion and the quarter turns of the orientation. The crop
// has the ratio of the picture, lies wholly inside it, keeps the middle of
// what was framed near the middle, and is otherwise as large as possible. A pose
// that is unsure, or already plumb, is left alone.
func (p Pose) Plan(w, h int, opt PlanOptions) Geometry {
	if opt.MinKept == 0 {
		opt.MinKept = 0.5
	}
	turn := [3]float64{rad(p.PitchDeg), rad(p.RollDeg), 0}
	if p.Straight && !opt.LeaveYaw {
		turn[2] = rad(p.YawDeg)
	}
	tilt := max(math.Abs(p.PitchDeg), math.Abs(p.RollDeg))
	if opt.Leave || p.Confidence < Sure || !p.ByHand && tilt < alreadyPlumb && math.Abs(turn[2]) < rad(alreadyPlumb) {
		return p.geometry(w, h, [3]float64{}, opt)
	}
	g := p.geometry(w, h, turn, opt)
	if g.CropKept >= opt.MinKept {
		return g
	}
	// A camera tilted that far is tilted on purpose, up a stairwell or down on a
	// table. Level it and take half the convergence away (common practice, no
	// source): it still looks up or down, only less so. If even that costs too
	// much, level it; failing that, leave it.
	for _, less := range [][3]float64{{turn[0], turn[1], 0}, {turn[0] / 2, turn[1], 0}, {0, turn[1], 0}, {}} {
		if g = p.geometry(w, h, less, opt); g.CropKept >= opt.MinKept {
			break
		}
	}
	g.Partly = true
	return g
}

// geometry plans the correction of the given pitch, roll and yaw in radians.
func (p Pose) geometry(w, h int, turn [3]float64, opt PlanOptions) Geometry {
	f := p.FocalPx
	if f <= 0 {
		f = float64(max(w, h))
	}
	if p.Centre == (Centre{}) {
		p.Centre = View{W: w, H: h}.centre()
	}
	c := camera{
		w: float64(w), h: float64(h), at: p.Centre, half: math.Hypot(float64(w), float64(h)) / 2,
		focal: f / p.Profile.Focal(), lens: p.Profile,
		axes: rotation(turn[0], turn[1], turn[2]),
		late: decentred(p.Profile, opt.Orientation, w, h),
	}
	g := Geometry{Corrected: turn != [3]float64{}, W: w, H: h, CropKept: 1}
	place := orient(opt.Orientation, float64(w), float64(h))
	var at func(x, y float64) (float64, float64)
	if !g.Corrected && !p.Profile.Bends() && c.late == nil {
		at = func(x, y float64) (float64, float64) { return place(x, y) }
	} else {
		fr := c.crop()
		// The crop is w x h in shape; one output pixel is one source pixel on the axis.
		g.W = max(1, int(2*fr.half*f+0.5))
		g.H = max(1, int(float64(g.W)*c.h/c.w+0.5))
		g.CropKept = c.kept(fr)
		k := 2 * fr.half / float64(g.W)
		ky := 2 * fr.half * c.h / c.w / float64(g.H)
		ox, oy := float64(g.W)/2, float64(g.H)/2
		at = func(x, y float64) (float64, float64) {
			return place(c.source(fr.x+(x-ox)*k, fr.y+(y-oy)*ky))
		}
	}
	g.Map = p.lensMap(at, opt.Orientation, w, h)
	return g
}

// lensMap adds lateral colour and vignetting, which go by the distance from the axis
// as the sensor lies, however the picture is turned.
func (p Pose) lensMap(at func(x, y float64) (float64, float64), orientation, w, h int) warp.Map {
	m := warp.Map{At: at}
	if orientation >= 5 {
		w, h = h, w
	}
	l := p.Profile
	if l == nil {
		return m
	}
	half := math.Hypot(float64(w), float64(h)) / 2
	cx, cy := float64(w)/2+l.CentreX*half, float64(h)/2+l.CentreY*half
	if l.Lateral() {
		m.Channel = func(c int, x, y float64) (float64, float64) {
			k := l.Channel(c, math.Hypot(x-cx, y-cy)/half)
			return cx + k*(x-cx), cy + k*(y-cy)
		}
	}
	if l.Shades() {
		m.Gain = func(x, y float64) float64 { return l.Gain(math.Hypot(x-cx, y-cy) / half) }
	}
	return m
}

// camera takes directions of the corrected view to places of the picture.
type camera struct {
	w, h, half float64
	at         Centre  // optical axis
	focal      float64 // of the ideal picture, pixels
	lens       *lens.Profile
	axes       [3]vec3 // right, down, forward in output coordinates
	// late moves a place as a decentred lens does; nil when it isn't.
	late func(x, y float64) (float64, float64)
}

// source returns where the direction (x, y, 1) of the corrected view is in the
// picture, in upright pixels; far outside when it is behind the camera.
func (c *camera) source(x, y float64) (float64, float64) {
	z := c.axes[2].x*x + c.axes[2].y*y + c.axes[2].z
	if z < 0.05 {
		z = 0.05
	}
	u := (c.axes[0].x*x + c.axes[0].y*y + c.axes[0].z) / z * c.focal
	v := (c.axes[1].x*x + c.axes[1].y*y + c.axes[1].z) / z * c.focal
	if c.lens.Bends() {
		if r := math.Hypot(u, v) / c.half; r > 0 {
			k := c.lens.Distort(r) / r
			u, v = u*k, v*k
		}
	}
	if c.late != nil {
		return c.late(c.at.X+u, c.at.Y+v)
	}
	return c.at.X + u, c.at.Y + v
}

// decentred returns what a decentred lens does to a place of the upright picture of w
// x h pixels; nil for one that isn't.
func decentred(l *lens.Profile, orientation, w, h int) func(x, y float64) (float64, float64) {
	if l == nil || l.Tangential == [2]float64{} {
		return nil
	}
	to, back := orient(orientation, float64(w), float64(h)), seen(orientation, w, h)
	sw, sh := float64(w), float64(h)
	if orientation >= 5 {
		sw, sh = sh, sw
	}
	half := math.Hypot(sw, sh) / 2
	cx, cy := sw/2+l.CentreX*half, sh/2+l.CentreY*half
	return func(x, y float64) (float64, float64) {
		x, y = to(x, y)
		dx, dy := l.Shift((x-cx)/half, (y-cy)/half)
		return back(x+dx*half, y+dy*half)
	}
}

// seen returns the function from pixels of the stored picture to those of the upright
// one of w x h. The turns are their own inverses but for the quarter turns, which are
// each other's.
func seen(o, w, h int) func(x, y float64) (float64, float64) {
	if o >= 5 {
		w, h = h, w
	}
	switch o {
	case 6:
		o = 8
	case 8:
		o = 6
	}
	return orient(o, float64(w), float64(h))
}

// orient returns the function from upright pixels to those of the stored picture
// (Exif 2.32, tag Orientation: what the stored first row and column are).
func orient(o int, w, h float64) func(x, y float64) (float64, float64) {
	switch o {
	case 2:
		return func(x, y float64) (float64, float64) { return w - x, y }
	case 3:
		return func(x, y float64) (float64, float64) { return w - x, h - y }
	case 4:
		return func(x, y float64) (float64, float64) { return x, h - y }
	case 5:
		return func(x, y float64) (float64, float64) { return y, x }
	case 6: // stored picture is to be turned clockwise: its top is the upright right
		return func(x, y float64) (float64, float64) { return y, w - x }
	case 7:
		return func(x, y float64) (float64, float64) { return h - y, w - x }
	case 8:
		return func(x, y float64) (float64, float64) { return h - y, x }
	}
	return func(x, y float64) (float64, float64) { return x, y }
}
