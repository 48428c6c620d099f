package check

import (
	"strings"

	"fmt"

	"mullion/finding"
	"mullion/finish"
)

// Report is what a check says, as JSON: the fields of the finish report where both have
// one, beside the reshoot list and the coverage.
type Report struct {
	Version string `json:"version"`
	Card    string `json:"card"`
	Views   []View `json:"views"`
	// Findings are about the card as a whole: dust, two cameras' clocks.
	Findings []finding.Finding `json:"findings"`
	Reshoot  []string          `json:"reshoot"` // ids of the views to take again
	Coverage *Coverage         `json:"coverage"`
	Failed   []finish.Failure  `json:"failed,omitempty"`
	Seconds  float64           `json:"seconds"`
}

// View is the check of one view.
type View struct {
	ID       string               `json:"id"`
	Room     string               `json:"room,omitempty"`
	Frames   []finish.FrameReport `json:"frames"`
	Light    finish.LightReport   `json:"light"`
	Plumb    finish.PlumbReport   `json:"plumb"`
	Summary  string               `json:"summary"` // what was measured, in a line
	Findings []finding.Finding    `json:"findings"`
	Mark     bool                 `json:"room_mark,omitempty"` // no view, but a covered lens between two rooms
	// MarkBefore is a mark that was taken within seconds of the view's first frame.
	MarkBefore bool `json:"room_mark_before,omitempty"`

	picture *picture // for the page
	trace   trace    // for the comparison of views
}

// Verdict is the gravest severity of a view's findings; Note when there is none.
func (v *View) Verdict() finding.Severity {
	worst := finding.Note
	for _, f := range v.Findings {
		switch {
		case f.Severity == finding.Reshoot:
			return finding.Reshoot
		case f.Severity == finding.Look:
			worst = finding.Look
		}
	}
	return worst
}

func count(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// ShootAgain reports whether anything must be shot again or is still to be shot.
func (r *Report) ShootAgain() bool { return len(r.List()) > 0 }

// List is the reshoot list: one line for each view to take again, for each unreadable
// file, and for what the job still misses.
func (r *Report) List() []string {
	var out []string
	for _, v := range r.Views {
		var why []string
		for _, f := range v.Findings {
			if f.Severity == finding.Reshoot {
				why = append(why, brief(f))
			}
		}
		if len(why) > 0 {
			out = append(out, v.Name()+": "+strings.Join(why, "; "))
		}
	}
	for _, f := range r.Findings {
		if f.Severity == finding.Reshoot {
			out = append(out, f.Message)
		}
	}
	if r.Coverage != nil {
		for _, f := range r.Coverage.Findings {
			if f.Severity == finding.Reshoot {
				out = append(out, f.Message)
			}
		}
	}
	return out
}

// Name is the view's id with its room, where that is known.
func (v *View) Name() string {
	if v.Room != "" {
		return v.ID + " (" + v.Room + ")"
	}
	return v.ID
}

// briefs say a finding in a few words, for the list.
var briefs = map[string]string{
	"bracket-incomplete": "a frame is missing", "frame-unreadable": "a frame can't be read", "nothing-usable": "no usable frame",
	"light-changed": "the light changed", "window-clipped": "the window is clipped, add a darker frame",
	"highlights-clipped": "a bright patch is clipped, add a darker frame", "sky-clipped": "the sky is burnt out, add a darker frame",
	"shadows-drown": "the shadows drown, add a brighter frame", "camera-moved": "the camera moved", "soft": "nothing is sharp, focus again",
	"frame-soft": "a frame is blurred", "aperture-changed": "the aperture changed, bracket by time", "focal-length-changed": "the zoom moved",
	"tilt": "level the camera", "moving": "something large moved", "flicker": "lamps pulse, expose longer", "colour-cast": "set the white balance",
}

func brief(f finding.Finding) string {
	if s, ok := briefs[f.Code]; ok {
		return s
	}
	return f.Message
}
