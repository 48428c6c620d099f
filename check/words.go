package check

import (
	"fmt"
	"math"
	"strings"

	"mullion/finding"
)

// say adds a finding.
func (r *View) say(code string, sev finding.Severity, value float64, unit, format string, args ...any) {
	r.Findings = append(r.Findings, finding.Finding{
		Code: code, Severity: sev, Message: fmt.Sprintf(format, args...),
		Value: math.Round(value*1e4) / 1e4, Unit: unit,
	})
}

// graded is the severity of a number between two limits; ok is false below both.
func graded(v, look, reshoot float64) (sev finding.Severity, ok bool) {
	switch {
	case v >= reshoot:
		return finding.Reshoot, true
	case v >= look:
		return finding.Look, true
	}
	return "", false
}

// graded3 is [graded] with a limit for notes below the others.
func graded3(v, note, look, reshoot float64) (sev finding.Severity, ok bool) {
	if sev, ok = graded(v, look, reshoot); !ok && v >= note {
		return finding.Note, true
	}
	return sev, ok
}

// The speeds engraved on cameras, a third of a stop apart, as whole parts of a second
// (common practice); longer ones are said in seconds.
var engraved = []int{8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320, 250, 200, 160,
	125, 100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4}

// speed names the engraved speed nearest to a time in seconds.
func speed(seconds float64) string {
	if seconds <= 0 {
		return "an unknown time"
	}
	if seconds >= .27 {
		return fmt.Sprintf("%.2g s", math.Exp2(math.Round(math.Log2(seconds)*3)/3))
	}
	best := engraved[0]
	for _, e := range engraved {
		if math.Abs(math.Log2(seconds*float64(e))) < math.Abs(math.Log2(seconds*float64(best))) {
			best = e
		}
	}
	return fmt.Sprintf("1/%d s", best)
}

// halves rounds up to half stops.
func halves(ev float64) float64 { return math.Ceil(ev*2-.1) / 2 }

// stops writes "1 stop", "1.5 stops".
func stops(ev float64) string {
	if ev == 1 {
		return "1 stop"
	}
	return fmt.Sprintf("%g stops", ev)
}

func percent(share float64) string {
	switch {
	case share >= .1:
		return fmt.Sprintf("%.0f %%", 100*share)
	case share >= .01:
		return fmt.Sprintf("%.1f %%", 100*share)
	}
	return fmt.Sprintf("%.2f %%", 100*share)
}

func sprintf(format string, args ...any) string { return fmt.Sprintf(format, args...) }

// summary is what was measured on a view, in a line: the numbers behind "keep".
func (v *seen) summary() string {
	var parts []string
	if c := v.clipped; v.windows != nil && len(v.windows.Regions) > 0 {
		parts = append(parts, fmt.Sprintf("window %s clipped", percent(c.window)))
	}
	if s := v.shadows; v.brightest().frame.Coded == nil {
		parts = append(parts, fmt.Sprintf("shadows %.0f times the noise", s.snr))
	} else {
		parts = append(parts, fmt.Sprintf("darkest code %.0f", s.code))
	}
	if len(v.used) > 1 {
		parts = append(parts, fmt.Sprintf("camera moved %.1f px", v.farthest()))
	}
	if v.sharp.tiles >= fewTiles {
		parts = append(parts, fmt.Sprintf("sharp to %.1f px", v.sharp.best))
	}
	if v.pose.Confidence >= .5 {
		parts = append(parts, fmt.Sprintf("pitch %+.1f roll %+.1f", v.pose.PitchDeg, v.pose.RollDeg))
	}
	parts = append(parts, fmt.Sprintf("light %.0f K Duv %+.3f", math.Round(v.light.Kelvin/10)*10, v.light.Duv))
	return strings.Join(parts, ", ")
}
