package studio

import (
	"fmt"
	"slices"

	"mullion/finding"
	"mullion/finish"
	"mullion/shoot"
)

// said is a finding as a page shows it, with the buttons that do what it suggests.
type said struct {
	Code     string   `json:"code"`
	Severity string   `json:"severity"`
	Message  string   `json:"message"`
	Buttons  []button `json:"buttons,omitempty"`
}

// button is one thing that can be done. N is the frame that is shown, from 0 and darkest
// first, or the edit that is put back. At is the place that is looked at, x, y, width and
// height in shares of the picture.
type button struct {
	Do    string      `json:"do"`
	Label string      `json:"label"`
	N     int         `json:"n,omitempty"`
	At    *[4]float64 `json:"at,omitempty"`
}

// What buttons do. The page knows these words.
const (
	doFrame   = "frame"   // shows an exposure as long as it is held
	doCloser  = "closer"  // full size, at the place or in the middle
	doSpots   = "spots"   // rings around mended dust
	doWhite   = "white"   // the tool that takes a place for white
	doUpright = "upright" // the tool that draws upright lines
	doLight   = "light"   // the number of the room's light
	doCompare = "compare" // before and after, with the unaltered picture
	doMiddle  = "middle"  // the same with the middle exposure
	doBack    = "put-back"
	doOut     = "out"
	doWalk    = "walk"
	doDeliver = "deliver"
)

// remedies is what can be done about each kind of finding. Kinds with none are listed as
// well: a note may ask for nothing.
var remedies = map[string][]button{
	// of the merge
	"highlights-clipped": {{Do: doFrame, Label: "Hold: the darkest exposure", N: darkest}},
	"shadows-noisy":      {{Do: doFrame, Label: "Hold: the brightest exposure", N: brightest}, closer},
	"frame-left-out":     {{Do: doFrame, Label: "Hold: the frame left out", N: named}},
	"frame-unreadable":   {closer},
	"exposure-unknown":   {{Do: doFrame, Label: "Hold: this frame", N: named}},
	"exposure-differs":   {middle},
	"light-changed":      {middle},
	"moving":             {closer},
	"hot-photosites":     nil,
	"response-assumed":   nil,
	"camera-unknown":     {white},
	// of the straightening
	"level-beyond":   {upright},
	"level-partly":   {upright},
	"level-guided":   {upright},
	"level-unsure":   {upright},
	"lens-profile":   nil,
	"lens-estimated": nil,
	// of the light
	"light-unsure": {white},
	"room-held":    {{Do: doLight, Label: "Change the room's light"}},
	// of what was taken out
	"removal":               {closer, {Do: doCompare, Label: "Compare with what was there"}},
	"removal-wide":          {closer, {Do: doBack, Label: "Put it back"}},
	"dust-mended":           {{Do: doSpots, Label: "Show the places"}},
	"first-picture-altered": {{Do: doWalk, Label: "Put another first"}, {Do: doBack, Label: "Put it back"}},
	"delivery-limit":        {{Do: doDeliver, Label: "See its files"}},
	// of the card
	"frame-missing":      {closer},
	"bracket-uneven":     nil,
	"exposure-repeated":  nil,
	"exposure-estimated": nil,
	"settings-changed":   {middle},
	"near-duplicate":     {out},
	// on site
	"bracket-incomplete":   {out},
	"nothing-usable":       {out},
	"file-unreadable":      {out},
	"frame-empty":          {{Do: doFrame, Label: "Hold: this frame", N: named}},
	"camera-moved":         {closer},
	"tilt":                 {upright},
	"flicker":              {closer},
	"flicker-risk":         nil,
	"sky-clipped":          {{Do: doFrame, Label: "Hold: the darkest exposure", N: darkest}},
	"window-clipped":       {{Do: doFrame, Label: "Hold: the darkest exposure", N: darkest}},
	"shadows-drown":        {{Do: doFrame, Label: "Hold: the brightest exposure", N: brightest}},
	"flare":                {middle},
	"dust":                 {{Do: doSpots, Label: "Show the places"}, closer},
	"soft":                 {closer},
	"near-edge-soft":       {{Do: doCloser, Label: "See the foot at full size", At: &[4]float64{.4, .9, .2, .1}}},
	"frame-soft":           {closer},
	"iso-below-base":       {closer},
	"iso-high":             {closer},
	"iso-changed":          {closer},
	"iso-differs":          {closer},
	"aperture-changed":     {closer},
	"focal-length-changed": {closer},
	"colour-cast":          {white},
	"white-balance":        {white},
	"room-darker":          {{Do: doLight, Label: "Change the room's light"}},
	// of the whole property
	"room-missing":     {walk},
	"room-short":       {walk},
	"room-over":        {walk},
	"vertical-missing": {walk},
	"no-exterior":      {walk},
	"package-short":    {walk},
	"package-over":     {{Do: doDeliver, Label: "Say how many were agreed on"}},
}

var (
	closer  = button{Do: doCloser, Label: "See it at full size"}
	middle  = button{Do: doMiddle, Label: "Compare with the middle exposure"}
	white   = button{Do: doWhite, Label: "Point at a white"}
	upright = button{Do: doUpright, Label: "Draw upright lines"}
	out     = button{Do: doOut, Label: "Leave this view out"}
	walk    = button{Do: doWalk, Label: "Go to the walk"}
)

// Frames that a remedy names by what they are.
const (
	darkest   = -1 - iota
	brightest // of the bracket
	named     // the frame that is the finding's number, counted from 1
)

// pageSays makes sentences with buttons of the findings about a view. Those that only a
// run can know (of the card, of the files) come from the account of the last one, those
// about its frames from the check.
func pageSays(f *facts, live finish.ViewReport, last, checked []finding.Finding, v shoot.View) []said {
	all := append(append([]finding.Finding{}, live.Findings...), unsure(live, v.Decisions)...)
	for _, one := range last {
		if ofRuns[one.Code] {
			all = append(all, one)
		}
	}
	out := []said{}
	for _, one := range together(all, checked, live, v.Decisions) {
		s := sayOf(f, one, v.Decisions.LeaveOut)
		if one.Severity == finding.Note && one.Code != "near-duplicate" && slices.ContainsFunc(checked, func(c finding.Finding) bool { return c.Code == one.Code && c.Message == one.Message }) {
			s.Buttons = nil // how the frames were taken is for the record
		}
		out = append(out, s)
	}
	return out
}

// ofRuns are the kinds that only a run finds.
var ofRuns = map[string]bool{
	"frame-missing": true, "bracket-uneven": true, "exposure-repeated": true, "exposure-estimated": true,
	"settings-changed": true, "near-duplicate": true, "delivery-limit": true, "first-picture-altered": true,
}

func sayOf(f *facts, one finding.Finding, isOut bool) said {
	s := said{Code: one.Code, Severity: string(one.Severity), Message: one.Message}
	for _, b := range remedies[one.Code] {
		if f.aim(&b, one) && !(b.Do == doOut && isOut) {
			s.Buttons = append(s.Buttons, b)
		}
	}
	if one.Severity == finding.Reshoot && !isOut && (len(s.Buttons) == 0 || s.Buttons[0].Do != doOut) {
		s.Buttons = append(s.Buttons, out)
	}
	return s
}

// aim fills in the frame, the edit or the place that a button is about. It is false when
// this picture has none.
func (f *facts) aim(b *button, one finding.Finding) bool {
	switch b.Do {
	case doFrame:
		switch b.N {
		case darkest:
			b.N = 0
		case brightest:
			b.N = len(f.Frames) - 1
		case named:
			b.N = int(one.Value) - 1
		}
		return b.N >= 0 && b.N < len(f.Frames)
	case doSpots:
		return len(f.Dust) > 0
	case doBack, doCompare:
		e := f.lastTaken()
		if e == nil {
			return false
		}
		b.N = e.ID
	case doCloser:
		if e := f.lastTaken(); e != nil && b.At == nil && (one.Code == "removal" || one.Code == "removal-wide") {
			w := e.Where
			b.At = &[4]float64{w[0] / 100, w[1] / 100, w[2] / 100, w[3] / 100}
			b.Label = "See the place at full size"
		}
	}
	return true
}

// lastTaken is the latest thing that was taken out, nil for none.
func (f *facts) lastTaken() *edit {
	for i := len(f.Edits) - 1; i >= 0; i-- {
		if f.Edits[i].Action == "remove" {
			return &f.Edits[i]
		}
	}
	return nil
}

// sure is the confidence from which a measured light or level is acted on without a
// word; for the level it is what package plumb acts on, for the light common practice,
// no source.
const sure = 0.5

// unsure puts into words what was measured with little confidence and not decided by
// anybody since.
func unsure(r finish.ViewReport, d shoot.Decisions) []finding.Finding {
	var out []finding.Finding
	if l := r.Light; l.Kelvin > 0 && l.Confidence < sure && d.RoomWarmth == nil {
		out = append(out, finding.Finding{
			Code: "light-unsure", Severity: finding.Look, Value: l.Confidence,
			Message: fmt.Sprintf("The light of this room, %.0f K, is little more than a guess: there is hardly anything neutral to measure it by. If a white looks coloured, point at it.", l.Kelvin),
		})
	}
	if p := r.Plumb; p.Confidence < sure && d.Level == nil && p.Note != "" {
		out = append(out, finding.Finding{
			Code: "level-unsure", Severity: finding.Look, Value: p.Confidence,
			Message: fmt.Sprintf("This view was not straightened: %s. If it leans, draw along one or two edges that are upright in the house.", p.Note),
		})
	}
	return out
}
