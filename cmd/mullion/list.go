package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"mullion/finish"
	"mullion/group"
	"mullion/metadata"
)

type listCmd struct {
	Card string `arg:"" help:"The card, or any folder with camera files. It is only read."`
	JSON bool   `name:"json" help:"Print the views as JSON, for programs."`
}

func (c *listCmd) Run(ctx context.Context) error {
	p := newProgress(os.Stderr)
	survey, err := finish.Look(ctx, c.Card, p.show)
	p.close()
	if err != nil {
		return err
	}
	if c.JSON {
		if err := listJSON(survey); err != nil {
			return err
		}
	} else {
		for _, v := range survey.Views {
			listView(survey, v)
		}
		fmt.Printf("%d frames in %d views\n", len(survey.Frames), len(survey.Views))
	}
	for _, l := range survey.Left {
		fmt.Fprintf(os.Stderr, "passed over: %v\n", l)
	}
	for _, f := range survey.Failed {
		fmt.Fprintln(os.Stderr, f.Why)
	}
	if len(survey.Failed) > 0 {
		return errSaid
	}
	return nil
}

// listView prints one view: its frames from dark to bright, then why they belong
// together.
func listView(s *finish.Survey, v group.View) {
	fmt.Printf("%s  %s\n", v.ID, plural(len(v.Frames), "frame"))
	for i, k := range v.Frames {
		f := s.Frames[k]
		fmt.Printf("    %-28s %9s  f/%-4.3g ISO %-5.0f %+6.2f EV", f.Rel, shutter(marked(f.Info)), f.Info.FNumber, f.Info.ISO, v.EV[i])
		if !f.Info.Time.IsZero() {
			fmt.Printf("  %s", f.Info.Time.Format("15:04:05.00"))
		}
		fmt.Println()
	}
	for _, r := range v.Reasons {
		fmt.Printf("    %s\n", r)
	}
	for _, n := range v.Notes {
		fmt.Printf("    %s: %s\n", n.Severity, n.Message)
	}
	fmt.Println()
}

// marked is the exposure time as it is engraved on the camera, which is what a
// photographer set; calculations use the true one.
func marked(i metadata.Info) float64 {
	if i.Marked > 0 {
		return i.Marked
	}
	return i.Seconds
}

// shutter writes an exposure time as photographers do.
func shutter(seconds float64) string {
	switch {
	case seconds <= 0:
		return "unknown"
	case seconds < 0.3:
		return fmt.Sprintf("1/%.0f s", 1/seconds)
	}
	return fmt.Sprintf("%.3g s", seconds)
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

type listedView struct {
	ID         string       `json:"id"`
	Frames     []listedShot `json:"frames"`
	Confidence float64      `json:"confidence"`
	Reasons    []string     `json:"reasons"`
	Notes      []string     `json:"notes,omitempty"`
}

type listedShot struct {
	File    string  `json:"file"`
	Seconds float64 `json:"seconds"`
	ISO     float64 `json:"iso"`
	FNumber float64 `json:"fnumber"`
	EV      float64 `json:"ev"`
}

func listJSON(s *finish.Survey) error {
	out := struct {
		Views []listedView `json:"views"`
	}{}
	for _, v := range s.Views {
		one := listedView{ID: v.ID, Confidence: v.Confidence, Reasons: v.Reasons}
		for i, k := range v.Frames {
			f := s.Frames[k]
			one.Frames = append(one.Frames, listedShot{filepath.ToSlash(f.Rel), f.Info.Seconds, f.Info.ISO, f.Info.FNumber, v.EV[i]})
		}
		for _, n := range v.Notes {
			one.Notes = append(one.Notes, n.Message)
		}
		out.Views = append(out.Views, one)
	}
	e := json.NewEncoder(os.Stdout)
	e.SetIndent("", " ")
	return e.Encode(out)
}
