package finish

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"mullion/card/disk"
	"mullion/finding"
	"mullion/record"
)

// Report is what a run says about itself, as JSON. Names are added over time,
// never renamed.
type Report struct {
	Version string       `json:"version"` // of the program
	Views   []ViewReport `json:"views"`
	Aside   []string     `json:"aside,omitempty"`  // views set aside, since fewer pictures were agreed on
	Failed  []Failure    `json:"failed,omitempty"` // what could not be delivered, and why
}

// ViewReport is one view of a run.
type ViewReport struct {
	ID       string            `json:"id"`
	Room     string            `json:"room,omitempty"`
	Taken    time.Time         `json:"taken,omitzero"` // by the camera's clock
	Frames   []FrameReport     `json:"frames"`
	RangeEV  float64           `json:"range_ev"` // from clipping to the noise floor of the merge, EV
	Noise    NoiseReport       `json:"noise"`
	Light    LightReport       `json:"light"`
	Plumb    PlumbReport       `json:"plumb"`
	Tone     ToneReport        `json:"tone"`
	Findings []finding.Finding `json:"findings"`
	Edits    []record.Edit     `json:"edits,omitempty"` // softened or taken out
	Dust     int               `json:"dust,omitempty"`  // grains on the sensor whose shadows were taken out
	Files    []FileReport      `json:"files"`
	// Seconds of work by station; stations of one view may overlap with another's.
	Seconds map[string]float64 `json:"seconds"`
	// Kept is true when the view was finished by an earlier run and its inputs,
	// settings and files are unchanged.
	Kept bool `json:"kept,omitempty"`
}

// FrameReport is one frame of a view, darkest first.
type FrameReport struct {
	File    string  `json:"file"`
	Seconds float64 `json:"seconds"` // true exposure time; 0 when unknown
	ISO     float64 `json:"iso"`
	FNumber float64 `json:"fnumber"`
	// EV is the exposure against the bracket's reference frame, more is brighter,
	// refined from the pixels.
	EV          float64    `json:"ev"`
	ShiftPx     [2]float64 `json:"shift_px"`     // x right, y down, pixels of the full picture
	RotationDeg float64    `json:"rotation_deg"` // positive clockwise
	Used        bool       `json:"used"`
	Why         string     `json:"why,omitempty"` // why it was not used
}

// NoiseReport is the noise that the merge predicts and what was done about it.
type NoiseReport struct {
	// Shown is the standard deviation of single pixels as a viewer would see it, CIE L*, at
	// the 95th percentile of the picture, before any was taken out; 0 for rendered files.
	Shown float64 `json:"shown_lstar"`
	Taken float64 `json:"taken"` // share of the picture in which some was taken out, 0..1
}

// LightReport is what lit the view.
type LightReport struct {
	Kelvin       float64 `json:"kelvin"`
	Duv          float64 `json:"duv"`
	SecondKelvin float64 `json:"second_kelvin"` // 0 when one light explains the view
	Confidence   float64 `json:"confidence"`
}

// PlumbReport is the camera's tilt and what was done about it. Pitch is positive
// when the camera looks up, roll when it is turned clockwise seen from behind, yaw
// when it is turned right.
type PlumbReport struct {
	PitchDeg    float64 `json:"pitch_deg"`
	RollDeg     float64 `json:"roll_deg"`
	YawDeg      float64 `json:"yaw_deg"`
	ResidualDeg float64 `json:"residual_deg"`
	Confidence  float64 `json:"confidence"` // 0..1
	Corrected   bool    `json:"corrected"`
	CropKept    float64 `json:"crop_kept"` // share of the frame's area that is left, 0..1
	Note        string  `json:"note,omitempty"`
}

// ToneReport is the light the picture was given, in EV.
type ToneReport struct {
	RoomEV   float64 `json:"room_ev"`
	WindowEV float64 `json:"window_ev"`
}

// FileReport is one delivered picture.
type FileReport struct {
	Path     string `json:"path"`
	Delivery string `json:"delivery"`
	Width    int    `json:"width"`
	Height   int    `json:"height"`
	Bytes    int64  `json:"bytes"`
	Quality  int    `json:"quality"`
}

// Failure is one thing that could not be done.
type Failure struct {
	What string `json:"what"` // a view or a file
	Why  string `json:"why"`  // which file, what is wrong, what to do
}

// Write writes the report to path as indented JSON, complete or not at all.
func (r Report) Write(_ context.Context, path string) error {
	b, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	if err := disk.WriteFile(disk.OS, path, append(b, '\n')); err != nil {
		return fmt.Errorf("the report could not be written: %w", err)
	}
	return nil
}
