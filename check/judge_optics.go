package check

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"mullion/finding"
	"mullion/metadata"
)

// judgeSharpness compares the frames with each other and the view with what its lens
// can do.
func (r *View) judgeSharpness(v *seen) {
	b := v.sharp
	if b.tiles < fewTiles {
		return
	}
	f := v.frames[v.merged.Reference]
	shrink := math.Min(1, deliveredEdge/float64(max(f.fullW, f.fullH)))
	r.judgeSoftFrame(v, shrink)
	seen := b.best * shrink
	look := math.Max(softLook, 2*v.allowed())
	switch {
	case b.best >= math.Max(softReshot, look) && seen >= ruinedDelivered:
		r.say("soft", finding.Reshoot, b.best, "px", "Nothing in the picture is sharp: even its sharpest parts are blurred by %.1f pixels%s. Focus again and shoot again.", b.best, v.allowance())
	case b.best >= look && seen >= softDelivered:
		r.say("soft", finding.Look, b.best, "px", "The picture is soft: its sharpest parts are blurred by %.1f pixels%s. Check the focus at full magnification and shoot again.", b.best, v.allowance())
	case b.near >= nearLook && b.foot >= look && b.foot*shrink >= softDelivered:
		r.say("near-edge-soft", finding.Look, b.near, "times", "The foot of the picture is %.1f times softer than its middle%s", b.near, v.hyperfocal())
	}
}

func (r *View) judgeSoftFrame(v *seen, shrink float64) {
	b := v.sharp
	ratio := b.frames[b.worst]
	width := ratio * math.Max(b.best, sharpEnough)
	sev, ok := graded(ratio, softerLook, softerReshot)
	if !ok || width < softerFrom || len(v.used) < 2 {
		return
	}
	if sev == finding.Reshoot && width*shrink < softDelivered {
		sev = finding.Look
	}
	cause, how := "out of focus", "Lock the focus"
	if b.shake >= shakenFrom {
		cause, how = "shaken", "Use a self-timer or a cable release"
	}
	r.say("frame-soft", sev, ratio, "times",
		"Frame %d (%s) is %s: %.1f times softer than the same places in the view's other frames (%.1f pixels). %s and shoot the bracket again.",
		b.worst+1, filepath.Base(r.Frames[b.worst].File), cause, ratio, width, how)
}

// pitchMicron is the distance between photosites in micrometres, 0 when unknown: the
// long edge of the sensor follows from the focal length and its 35 mm equivalent.
func (v *seen) pitchMicron() float64 {
	f := v.frames[v.merged.Reference]
	if v.info.FocalMM <= 0 || v.info.Focal35MM <= 0 {
		return 0
	}
	return 36000 * v.info.FocalMM / v.info.Focal35MM / float64(max(f.fullW, f.fullH))
}

// allowed is the blur that aperture and sensor alone give, in pixels: an Airy disc is
// near a Gaussian of 0.42 wavelength times f-number, a photosite with its filter near
// one of half a pixel.
func (v *seen) allowed() float64 {
	p := v.pitchMicron()
	if p == 0 || v.info.FNumber <= 0 {
		return .7
	}
	return math.Hypot(.5, .42*wavelengthMicron*v.info.FNumber/p)
}

func (v *seen) allowance() string {
	if v.pitchMicron() == 0 || v.info.FNumber <= 0 {
		return ""
	}
	return fmt.Sprintf(", where a good lens at f/%.2g leaves about %.1f", v.info.FNumber, v.allowed()+.3)
}

// hyperfocal gives the distance to focus at for everything to be sharp: H = f^2/(N c) + f
// with a circle of confusion of 1/1500 of the diagonal, the usual 0.03 mm on 36 x 24.
func (v *seen) hyperfocal() string {
	f, n := v.info.FocalMM, v.info.FNumber
	if f <= 0 || n <= 0 {
		return ": focus nearer, or stop down, and shoot again."
	}
	c := .03
	if v.info.Focal35MM > 0 {
		c *= f / v.info.Focal35MM
	}
	h := (f*f/(n*c) + f) / 1000
	return fmt.Sprintf(": it lies nearer than the depth of field. At %.3g mm and f/%.2g, focus at %.1f m and all from %.1f m on is sharp. Shoot again.", f, n, h, h/2)
}

// lowBase are words in the names of cameras whose lowest true sensitivity is under 100:
// telephones, and bodies made for 64 (common practice, from memory).
var lowBase = []string{"phone", "pixel", "galaxy", "sm-", "d810", "d850", "z 7", "z 8", "z 9", "z7", "z8", "z9", "gfx", "x1d", "x2d", "s1r", "drone", "fc"}

func (r *View) judgeSettings(v *seen) {
	lo, hi := v.span(func(i metadata.Info) float64 { return i.ISO })
	switch {
	case lo > 0 && lo < isoBase && !lowBased(v.info):
		r.say("iso-below-base", finding.Look, lo, "ISO",
			"ISO %.0f is below what most sensors really do: an extended setting is an overexposed ISO %d and clips up to %.1f stops earlier, just where the window is. Set ISO %d.", lo, isoBase, math.Log2(isoBase/lo), isoBase)
	case hi > isoHigh:
		r.say("iso-high", finding.Look, hi, "ISO",
			"ISO %.0f is %.1f stops above ISO %d: shadows are that much noisier, and on a tripod nothing is gained. Set the lowest true ISO and shoot again.", hi, math.Log2(hi/isoBase), isoBase)
	}
	if lo > 0 && hi/lo > 1.05 {
		r.say("iso-changed", finding.Look, math.Log2(hi/lo), "EV",
			"The ISO changed within the bracket, from %.0f to %.0f: noise and headroom differ from frame to frame. Switch automatic ISO off and bracket by time.", lo, hi)
	}
	if lo, hi := v.span(func(i metadata.Info) float64 { return i.FNumber }); lo > 0 && 2*math.Log2(hi/lo) > apertureStep {
		r.say("aperture-changed", finding.Reshoot, 2*math.Log2(hi/lo), "EV",
			"The aperture changed within the bracket, from f/%.2g to f/%.2g: sharpness in depth and corner brightness differ from frame to frame. Set the camera to aperture priority or manual, bracket by time, and shoot again.", lo, hi)
	}
	if v.zoomed() {
		lo, hi := v.span(focal)
		r.say("focal-length-changed", finding.Reshoot, hi/lo, "times",
			"The zoom moved within the bracket, from %.3g to %.3g mm. Shoot the view again.", lo, hi)
	}
}

// zoomed reports whether the focal length differs between the frames.
func (v *seen) zoomed() bool {
	lo, hi := v.span(focal)
	return lo > 0 && hi/lo > 1+focalStep
}

func focal(i metadata.Info) float64 { return i.FocalMM }

// span is the range of a setting over the frames that tell it.
func (v *seen) span(of func(metadata.Info) float64) (lo, hi float64) {
	for _, f := range v.frames {
		if x := of(f.info); x > 0 {
			if lo == 0 || x < lo {
				lo = x
			}
			hi = math.Max(hi, x)
		}
	}
	return lo, hi
}

func lowBased(i metadata.Info) bool {
	name := strings.ToLower(i.Make + " " + i.Model)
	if i.FocalMM > 0 && i.FocalMM < 8 { // a sensor of a telephone's size
		return true
	}
	for _, w := range lowBase {
		if strings.Contains(name, w) {
			return true
		}
	}
	return false
}
