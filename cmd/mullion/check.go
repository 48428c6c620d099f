package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"mullion/card/disk"
	"mullion/check"
	"mullion/finding"
	"mullion/finish"
	"mullion/jobfile"
)

type checkCmd struct {
	Card string `arg:"" help:"The card, or any folder with camera files. It is only read."`
	Job  string `placeholder:"FILE" help:"What was agreed for this property, a .toml file: property, package (pictures owed), notes, and for each [[room]] its name, views, vertical (how many on end) and front = true for the front exterior."`
	JSON bool   `name:"json" help:"Print one JSON object, for programs."`
	HTML string `name:"html" placeholder:"FILE" help:"Write a page with a small picture of every view and its faults marked."`
}

// Run ends with status 1 when something must be shot again.
func (c *checkCmd) Run(ctx context.Context) error {
	opt := check.Options{Pictures: c.HTML != "", Version: version}
	if c.Job != "" {
		job, err := jobfile.Load(ctx, c.Job)
		if err != nil {
			return err
		}
		opt.Job = job
	}
	out := &checkPrinter{w: os.Stdout, seen: map[string]int{}}
	if !c.JSON {
		opt.View = out.view
	}
	report, err := check.Run(ctx, c.Card, opt)
	if err != nil {
		return err
	}
	if c.HTML != "" {
		if err := writeFile(c.HTML, func(w io.Writer) error { return report.Page(w) }); err != nil {
			return err
		}
	}
	if c.JSON {
		e := json.NewEncoder(os.Stdout)
		e.SetIndent("", " ")
		if err := e.Encode(report); err != nil {
			return err
		}
	} else {
		out.end(report, c.HTML)
	}
	if report.ShootAgain() {
		return errSaid
	}
	return nil
}

// writeFile writes a page whole or not at all.
func writeFile(path string, fill func(io.Writer) error) error {
	var b bytes.Buffer
	err := fill(&b)
	if err == nil {
		err = disk.WriteFile(disk.OS, path, b.Bytes())
	}
	if err != nil {
		return fmt.Errorf("the page can't be written: %w", err)
	}
	return nil
}

// checkPrinter prints a check while it goes on.
type checkPrinter struct {
	w    io.Writer
	seen map[string]int // findings of each view that were printed
}

func (p *checkPrinter) view(v *check.View) {
	fmt.Fprintf(p.w, "%s  %-11s %s\n", v.ID, asked(v), files(v.Frames))
	if v.MarkBefore {
		fmt.Fprintln(p.w, "    after a room mark")
	}
	if v.Summary != "" {
		fmt.Fprintf(p.w, "    %s\n", v.Summary)
	}
	for _, f := range v.Findings {
		if f.Severity != finding.Note {
			fmt.Fprintf(p.w, "    %s: %s\n", f.Severity, f.Message)
		}
	}
	for _, f := range v.Findings {
		if f.Severity == finding.Note {
			fmt.Fprintf(p.w, "    note: %s\n", f.Message)
		}
	}
	p.seen[v.ID] = len(v.Findings)
}

func asked(v *check.View) string {
	switch {
	case v.Mark:
		return "room mark"
	case v.Verdict() == finding.Reshoot:
		return "SHOOT AGAIN"
	case v.Verdict() == finding.Look:
		return "look"
	}
	return "keep"
}

func files(frames []finish.FrameReport) string {
	if len(frames) == 0 {
		return ""
	}
	first, last := base(frames[0].File), base(frames[0].File)
	for _, f := range frames {
		if n := base(f.File); n < first {
			first = n
		} else if n > last {
			last = n
		}
	}
	if first == last {
		return first
	}
	return fmt.Sprintf("%s to %s, %s", first, last, plural(len(frames), "frame"))
}

func base(rel string) string { return rel[strings.LastIndexByte(rel, '/')+1:] }

// end prints what only the whole card could tell, where the page is, and last the
// reshoot list.
func (p *checkPrinter) end(r *check.Report, page string) {
	fmt.Fprintln(p.w)
	for _, v := range r.Views {
		for _, f := range v.Findings[p.seen[v.ID]:] {
			fmt.Fprintf(p.w, "%s, against the other views: %s: %s\n", v.ID, f.Severity, f.Message)
		}
	}
	for _, f := range r.Findings {
		fmt.Fprintf(p.w, "the card: %s: %s\n", f.Severity, f.Message)
	}
	if c := r.Coverage; c != nil {
		for _, f := range c.Findings {
			fmt.Fprintf(p.w, "the job: %s: %s\n", f.Severity, f.Message)
		}
	}
	fmt.Fprintf(p.w, "\n%s checked in %.1f s.\n", plural(len(r.Views), "view"), r.Seconds)
	if page != "" {
		fmt.Fprintf(p.w, "The page with pictures: %s\n", page)
	}
	list := r.List()
	if len(list) == 0 {
		fmt.Fprintln(p.w, "Nothing has to be shot again.")
		return
	}
	fmt.Fprintln(p.w, "SHOOT AGAIN:")
	for _, line := range list {
		fmt.Fprintf(p.w, "    %s\n", line)
	}
}
