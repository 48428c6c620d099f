// Package bracket turns the frames of one view into radiance: it aligns them,
// finds what moved, and merges them into one linear image without clipping.
//
// The way of a bracket:
//
//	proof   every frame is averaged to a small linear plane, on which all
//	        decisions are made
//	align   shift and rotation against the reference frame, to a fraction of a pixel
//	ratio   the true exposure ratio between frames, from the pixels themselves
//	bloom   light that runs over beside what clips
//	motion  regions where the frames disagree; each takes one frame alone
//	merge   the minimum-variance estimate of every photosite
//	even    the gain maps a file brings along
//
// A bracket from a tripod is merged in the sensor's mosaic and interpolated once
// afterwards: five frames cost one interpolation, and no clipped sample is ever
// interpolated. A hand-held bracket is interpolated first, moved, then merged, tile by
// tile and of each frame only what counts there.
// Rendered files (JPEG) have their response recovered first (package response).
package bracket

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"mullion/finding"
	"mullion/internal/raster"
	"mullion/metadata"
	"mullion/rawfile"
)

// Options steer a merge.
type Options struct {
	// Reference is the index of the frame the others are aligned to; -1 lets Merge
	// choose the best exposed frame near the middle of the bracket.
	Reference int
	// Interpolate turns a normalised mosaic (black 0, white 1, not white-balanced)
	// into camera RGB for brackets that were not shot from a tripod. Nil uses the
	// package's own linear filter.
	Interpolate func(ctx context.Context, m *raster.Plane, cfa [2][2]uint8) (*raster.RGB, error)
}

// Space names the colour space of a merged image.
type Space int

const (
	// CameraRGB: the sensor's own primaries, no white balance.
	CameraRGB Space = iota
	// BT2020: linear BT.2020, D65, from rendered files.
	BT2020
)

// Radiance is the merged image of a view: linear, unclipped, in the reference
// frame's geometry. Exactly one of Mosaic and RGB is set.
type Radiance struct {
	Mosaic *raster.Plane // merged mosaic of a tripod bracket, to be interpolated once
	CFA    [2][2]uint8   // its colours by position (0 red, 1 green, 2 blue)
	RGB    *raster.RGB   // everything else
	Space  Space

	// Absolute is true when values are in units of 100 cd/m2 (ISO 12232 saturation
	// based); otherwise the reference frame's clipping point is 1.
	Absolute bool
	// Clip is the value at which the darkest used frame clips: nothing above it was
	// measured, and samples that clip in every frame hold exactly this.
	Clip float32
	// Noise is the variance of the merged samples as a function of their value.
	Noise *Noise
	// Louder is by how much more noise there is where something moved; nil when nothing did.
	Louder *Louder
	// RangeEV is the range between Clip and the value where SNR = 1, in EV.
	RangeEV float64

	Reference int           // index of the reference frame
	Frames    []FrameReport // per input frame, in the caller's order
	Findings  []finding.Finding
	Camera    rawfile.Camera // of the reference frame
	Info      metadata.Info  // of the reference frame
}

// FrameReport says what became of one frame.
type FrameReport struct {
	EV          float64 // exposure relative to the reference, from the file, + is brighter (solved from pixels when the file does not say)
	RefinedEV   float64 // the same, refined from the pixels
	ShiftX      float64 // px at full resolution: where the reference's centre lies in this frame
	ShiftY      float64
	RotationDeg float64 // of the content, clockwise on screen positive
	Used        bool
	Why         string // why it was left out, empty when used
}

var errNoFrames = errors.New("no frame of this bracket could be used")

// Merge merges the frames of one bracket. Frames may be in any order and may be
// nil (a file that could not be read): those are reported and left out. A single
// frame is a bracket of one. It fails when no frame is usable and when the
// context is cancelled.
func Merge(ctx context.Context, frames []*rawfile.Frame, opt Options) (*Radiance, error) {
	m := &merger{opt: opt, out: &Radiance{Frames: make([]FrameReport, len(frames))}}
	m.admit(frames)
	if len(m.shots) == 0 {
		return nil, m.nothing()
	}
	steps := []func(context.Context) error{
		m.makeProofs, m.dropUseless, m.chooseReference, m.align, m.linearise, m.ratios, m.bloom, m.motion, m.hotMoved, m.fuse, m.even,
	}
	for _, step := range steps {
		if err := step(ctx); err != nil {
			return nil, err
		}
		if len(m.shots) == 0 {
			return nil, m.nothing()
		}
	}
	m.report()
	m.release()
	return m.out, nil
}

// merger carries one bracket through the stations.
type merger struct {
	opt       Options
	out       *Radiance
	shots     []*shot // frames still in the merge, darkest first
	ref       *shot
	step      int // full-resolution pixels a proof sample
	still     bool
	recovered bool     // the response of rendered frames was recovered
	moved     *regions // nil when nothing moved
	seams     *seams   // nil unless developed pictures moved
	hot       sites    // to mend in every frame of a bracket that moved
}

// shot is one frame on its way.
type shot struct {
	index int
	frame *rawfile.Frame
	w, h  int

	ev      float64 // exposure from the file, EV
	known   bool    // the file says
	refined float64 // exposure relative to the reference after refinement
	gain    float32 // radiance per normalised value

	noise  [3]line // variance of a normalised sample, by colour
	curves *curves // linearisation of a rendered file
	codes  *codeNoise
	proof  *proof
	bloom  *raster.Plane // expected excess beside what clips, in radiance, on the proof's samples; nil without
	warp   warp          // reference -> this frame, proof coordinates
}

func (m *merger) note(code string, sev finding.Severity, value float64, unit, format string, args ...any) {
	m.out.Findings = append(m.out.Findings, finding.Finding{
		Code: code, Severity: sev, Message: fmt.Sprintf(format, args...), Value: value, Unit: unit,
	})
}

const leftOut = "Frame %d%s was left out of the merge: %s. Check the windows and the shadows of the picture, which may miss it, or take the view again."

// leave takes a shot out of the merge and says why.
func (m *merger) leave(s *shot, why string) {
	m.out.Frames[s.index].Why = why
	for i, t := range m.shots {
		if t == s {
			m.shots = append(m.shots[:i:i], m.shots[i+1:]...)
			break
		}
	}
	m.note("frame-left-out", finding.Look, float64(s.index+1), "frame",
		leftOut, s.index+1, name(s.frame), why)
}

func name(f *rawfile.Frame) string {
	if f == nil || f.Path == "" {
		return ""
	}
	return " (" + f.Path[strings.LastIndexAny(f.Path, `/\`)+1:] + ")"
}

func (m *merger) nothing() error {
	var why []string
	for i, f := range m.out.Frames {
		if f.Why != "" {
			why = append(why, fmt.Sprintf("frame %d: %s", i+1, f.Why))
		}
	}
	if len(why) == 0 {
		return errNoFrames
	}
	return fmt.Errorf("%w (%s)", errNoFrames, strings.Join(why, "; "))
}

func (m *merger) release() {
	for _, s := range m.shots {
		s.proof.release()
		raster.Put(s.bloom)
	}
}

// unit is the radiance, in units of 100 cd/m2, of a sample that just clips: ISO
// 12232 saturation-based speed, L = 120 N^2 / (t S) cd/m2 at clipping.
func unit(i metadata.Info) (float64, bool) {
	if i.Seconds <= 0 || i.ISO <= 0 || i.FNumber <= 0 {
		return 1, false
	}
	return 120 * i.FNumber * i.FNumber / (100 * i.Seconds * i.ISO), true
}

func exp2(x float64) float32 { return float32(math.Exp2(x)) }
