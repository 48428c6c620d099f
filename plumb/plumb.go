// Package plumb measures how a camera was held from the picture it took, and
// plans the correction.
//
// The verticals of a building meet, in a picture, in one point: the vertical
// vanishing point. With the focal length known that point is the camera's pitch
// and roll, and nothing else. [Measure] finds line segments, joins the pieces of
// one edge, lets them vote on pitch and roll, looks for up to two frames of horizontal
// directions square to the vertical (walls, and furniture set askew; they tell a room's
// verticals from a stair rail, and where no vertical is seen they fix the level), and fits
// everything together by reweighted least squares: each line counts for each direction with
// the probability that it belongs there, and lines that belong to nothing lose their weight.
// Of several poses the likeliest is taken, by all of its peak and by how cameras are held:
// nearly level, pitched at will. When no profile knows the
// lens, its distortion is fitted along: lines of one direction agree only when the
// bend of the lens is taken out (the plumb-line idea of Brown, Photogrammetric
// Engineering 37(8), 1971, and Devernay & Faugeras, Machine Vision and
// Applications 13, 2001). The geometry is that of Caprile & Torre, IJCV 4(2),
// 1990.
//
// The views of a shoot know more together than each by itself: [Gather] keeps what
// one says, and [Together] finds the distortion of a lens over all its views, and
// for views with few lines of their own, whether another was taken from the same
// place, or how the camera was usually held.
//
// Signs: pitch + looks up; roll + is turned clockwise seen from behind the
// camera, so that the picture's horizon falls to the left; yaw + is turned
// right of the room's axis.
package plumb

import (
	"context"
	"fmt"
	"math"

	"mullion/internal/raster"
	"mullion/lens"
	"mullion/lines"
)

// View is the picture a measurement belongs to, upright.
type View struct {
	W       int           `json:"w"` // full-size pixels
	H       int           `json:"h"`
	FocalPx float64       `json:"focal_px,omitempty"` // focal length in full-size pixels; 0 when unknown
	Profile *lens.Profile `json:"profile,omitempty"`  // nil when unknown
	Centre  *Centre       `json:"centre,omitempty"`   // of projection; nil for the picture's middle
	// LooseAxis says that the axis may lie some per cent off the middle: a foreign
	// camera, or a crop. Horizontals then say less about the vertical.
	LooseAxis bool `json:"loose_axis,omitempty"`
	// Habit is what the shoot's other views say about how the camera was held.
	Habit *Habit `json:"habit,omitempty"`
	// Known is the attitude that follows from another view of the same place; it serves
	// when the view's own lines don't suffice.
	Known *Known `json:"known,omitempty"`
	// Setting tells one lens at one focal length from others (camera, lens, focal
	// length, size of the picture); empty when the file doesn't say enough for that.
	Setting string `json:"setting,omitempty"`
}

// Centre is where the optical axis meets an upright picture, in full-size pixels
// from the top left corner.
type Centre struct{ X, Y float64 }

// centre returns the view's optical axis.
func (v View) centre() Centre {
	if v.Centre != nil {
		return *v.Centre
	}
	return Centre{float64(v.W) / 2, float64(v.H) / 2}
}

// FocalPx returns the focal length in pixels of a w x h picture from its 35 mm
// equivalent, which by custom goes by the diagonal (CIPA DCG-001; the standard
// leaves horizontal to the maker). It returns 0 when mm is.
func FocalPx(w, h int, equivalentMM float64) float64 {
	return equivalentMM * math.Hypot(float64(w), float64(h)) / math.Hypot(36, 24)
}

// Pose is how the camera was held, in degrees, and how sure that is.
type Pose struct {
	PitchDeg, RollDeg, YawDeg float64
	// ResidualDeg is the median angle between the verticals used and the upright
	// they ought to have, after correction.
	ResidualDeg float64
	SigmaDeg    float64 // standard error of pitch and roll, the larger
	Confidence  float64 // 0 to 1; from 0.5 on it's good enough to act on
	FocalPx     float64 // the focal length used, full-size pixels
	FocalKnown  bool
	Centre      Centre // the optical axis used
	Verticals   int    // segments that agree on the vertical
	ByHand      bool   // set by a person: corrected however little it is
	Straight    bool   // YawDeg is valid: the view is meant to be straight on
	// Profile is the lens used: the view's, or the one estimated from its lines,
	// or nil.
	Profile *lens.Profile
	Note    string // what was found, for the report
}

// The largest angles in degrees that a person may set by hand: beyond them a picture
// is no longer straightened but taken from elsewhere.
const (
	MostPitch = 50
	MostRoll  = 45
	MostYaw   = 45
)

// Hold returns the pose with angles that were set by hand; false when they are beyond
// what can be set, and then the pose is as measured.
func (p Pose) Hold(pitchDeg, rollDeg, yawDeg float64) (Pose, bool) {
	within := func(v, most float64) bool { return v >= -most && v <= most }
	if !within(pitchDeg, MostPitch) || !within(rollDeg, MostRoll) || !within(yawDeg, MostYaw) {
		return p, false
	}
	p.PitchDeg, p.RollDeg, p.YawDeg = pitchDeg, rollDeg, yawDeg
	p.Straight, p.Confidence, p.ByHand = yawDeg != 0, 1, true
	p.Note = "set by hand"
	return p, true
}

// straightOn is the yaw up to which a view counts as meant to be straight on.
const straightOn = 2.5

// Measure finds the pose from luma, the upright picture at reduced size as [Luma]
// makes it (1500 to 2000 pixels on the long edge are best): any brightness of
// about 0 to 1 that is perceptual or logarithmic. It returns an error only when
// told to stop or when the view has no size; a picture without lines gives
// confidence 0.
func Measure(ctx context.Context, luma *raster.Plane, v View) (Pose, error) {
	if v.W < 1 || v.H < 1 || luma.W < 1 || luma.H < 1 {
		return Pose{}, fmt.Errorf("plumb: a view of %d x %d pixels has no lines", v.W, v.H)
	}
	segs, err := find(ctx, luma, v)
	if err != nil {
		return Pose{}, err
	}
	return FromSegments(ctx, segs, v)
}

// find returns the segments of luma in full-size pixels.
func find(ctx context.Context, luma *raster.Plane, v View) ([]lines.Segment, error) {
	long := float64(max(luma.W, luma.H))
	segs, err := lines.Detect(ctx, luma, lines.Options{MinLength: max(15, 0.012*long)})
	if err != nil {
		return nil, err
	}
	scale := float64(v.W) / float64(luma.W)
	for i := range segs {
		s := &segs[i]
		// What the edge's own scatter doesn't show: shading, sharpening and
		// compression move an end by some tenths of a pixel.
		s.Sigma = math.Hypot(s.Sigma, 0.15/s.Length())
		s.X1, s.Y1, s.X2, s.Y2 = s.X1*scale, s.Y1*scale, s.X2*scale, s.Y2*scale
		s.Width, s.Bend, s.BendSigma = s.Width*scale, s.Bend*scale, s.BendSigma*scale
	}
	return segs, nil
}

// FromSegments is Measure for ready-made segments in full-size pixels.
func FromSegments(ctx context.Context, segs []lines.Segment, v View) (Pose, error) {
	p, err := fromSegments(ctx, segs, v)
	if err == nil && v.Known != nil && p.weak() {
		p.PitchDeg, p.RollDeg = v.Known.PitchDeg, v.Known.RollDeg
		p.Confidence, p.Straight = knownConfidence, false
		p.Note = fmt.Sprintf("level taken over from another view of the same place, which shows %d of its lines", v.Known.Lines)
	}
	return p, err
}

// weak reports a pose that another view's may improve: unsure, or from horizontals alone.
func (p Pose) weak() bool { return p.Confidence < Sure || p.Verticals < 3 }

// knownConfidence is that of an attitude which follows from another view's.
const knownConfidence = 0.7

func fromSegments(ctx context.Context, segs []lines.Segment, v View) (Pose, error) {
	s := newSolver(segs, v)
	if len(s.obs) < 3 {
		return Pose{SigmaDeg: deg(s.prior[pitch]), FocalPx: s.focal(s.start()), FocalKnown: v.FocalPx > 0, Profile: v.Profile,
			Centre: v.centre(),
			Note:   "hardly any straight lines: left as it is"}, ctx.Err()
	}
	all := s.fits(s.starts(ctx))
	m, ahead := s.likeliestOf(all)
	if err := ctx.Err(); err != nil {
		return Pose{}, err
	}
	if v.Profile.Bends() {
		return s.pose(m, ahead), ctx.Err()
	}
	if p := unbend(segs, v, all); p.Confidence >= Sure {
		return p, ctx.Err()
	}
	return s.pose(m, ahead), ctx.Err()
}

// unbend returns the pose of the view with the lens's distortion estimated, from the
// straight models; one without confidence when no bend is worth taking out.
func unbend(segs []lines.Segment, v View, straight []found) Pose {
	b := newBender(segs, v)
	bent, ahead, ok := b.bend(straight)
	if !ok {
		return Pose{}
	}
	if v.Profile = b.estimated(bent); v.Profile == nil {
		return Pose{}
	}
	s := newSolver(segs, v)
	bent[bend1], bent[bend2] = 0, 0
	// Other poses were fitted to bent lines: only now is it seen how this one compares,
	// with those that have its bend and with those that have their own.
	m, l := s.likeliestOf(s.fits(append(s.distinct(straight, 6), bent)))
	p := s.pose(m, lead{min(l.any, ahead.any), min(l.worse, ahead.worse)})
	if p.Verticals < 3 {
		return Pose{} // two directions alone don't tell a bend from a tilt
	}
	p.Note += "; lens distortion estimated from the lines"
	return p
}

func deg(rad float64) float64 { return rad * 180 / math.Pi }
func rad(deg float64) float64 { return deg * math.Pi / 180 }
