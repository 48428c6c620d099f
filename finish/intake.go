package finish

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"mullion/card"
	"mullion/finding"
	"mullion/shoot"
)

// intake brings a card's files into the shoot and enters their views in it.
type intake struct {
	job    *Job
	shoot  *shoot.Shoot
	report *Report

	sums  map[string]string            // SHA-256 by the path a frame is now read from
	notes map[string][]finding.Finding // what grouping found odd, by view
}

// take copies the files (unless they stay in place) and surveys what arrived.
func (in *intake) take(ctx context.Context, files []card.File) (*Survey, error) {
	in.sums = map[string]string{}
	var here []card.File
	var err error
	if in.job.InPlace {
		here, err = in.hash(ctx, files)
	} else {
		here, err = in.copy(ctx, files)
	}
	if err != nil {
		return nil, err
	}
	s := &Survey{}
	if err := s.read(ctx, here, in.job.Report); err != nil {
		return nil, err
	}
	in.report.Failed = append(in.report.Failed, s.Failed...)
	if len(s.Frames) == 0 {
		return nil, fmt.Errorf("%s: not one of its %d files can be read as a picture; see the list of what failed", in.job.Card, len(files))
	}
	return s, s.group(ctx)
}

// hash is take for files that stay where they are.
func (in *intake) hash(ctx context.Context, files []card.File) ([]card.File, error) {
	sums := make([]string, len(files))
	errs := make([]error, len(files))
	each(ctx, len(files), func(i int) { sums[i], _, errs[i] = card.Sum(ctx, files[i].Path) })
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	var here []card.File
	seen := map[string]bool{}
	for i, f := range files {
		if errs[i] != nil {
			in.report.fail(f.Path, errs[i])
			continue
		}
		if seen[sums[i]] {
			continue // the same picture under two names
		}
		seen[sums[i]] = true
		path, err := filepath.Abs(f.Path)
		if err != nil {
			return nil, err
		}
		f.Path = path
		in.sums[path] = sums[i]
		here = append(here, f)
	}
	return here, nil
}

// copy makes the verified copies and returns the frames as they lie in the shoot.
func (in *intake) copy(ctx context.Context, files []card.File) ([]card.File, error) {
	dests := []string{in.shoot.Originals()}
	if in.job.Second != "" {
		dests = append(dests, in.job.Second)
	}
	const step = "copying the card"
	in.job.tell(Event{Step: step, Total: len(files)})
	done, err := card.Copy(ctx, files, dests, func(p card.Progress) {
		in.job.tell(Event{Step: step, Done: p.Files, Total: p.AllFiles})
	})
	if done == nil {
		return nil, err
	}
	if err != nil && stopped(err) {
		return nil, err
	}
	in.account(done, err)
	outcome := map[string]card.Outcome{}
	for _, o := range done.Files {
		outcome[o.Source] = o
	}
	var here []card.File
	for _, f := range files {
		o, ok := outcome[f.Path]
		if !ok || o.Err != nil || o.SHA256 == "" || o.SameAs != "" {
			continue
		}
		f.Path = filepath.Join(in.shoot.Originals(), filepath.FromSlash(o.Rel))
		in.sums[f.Path] = o.SHA256
		here = append(here, f)
	}
	if len(here) == 0 {
		if err == nil {
			err = done.Err()
		}
		return nil, fmt.Errorf("no frame could be copied from %s: %w", in.job.Card, err)
	}
	return here, nil
}

// account puts what a copy could not do into the report.
func (in *intake) account(done *card.Report, err error) {
	for _, o := range done.Files {
		if o.Err != nil {
			in.report.fail(o.Source, o.Err)
		}
	}
	for dest, why := range done.Lost {
		in.report.fail(dest, why)
	}
	if err != nil && len(done.Lost) == 0 {
		in.report.fail(in.job.Card, err)
	}
}

// enter writes the survey's views into the shoot: their frames, why they belong
// together, and the rooms named on the command line.
func (in *intake) enter(ctx context.Context, s *Survey) error {
	brackets := make([]shoot.Bracket, len(s.Views))
	for i, v := range s.Views {
		b := shoot.Bracket{Reasons: v.Reasons}
		for j, k := range v.Frames {
			path := s.Frames[k].Path
			b.Frames = append(b.Frames, shoot.Frame{Path: in.relative(path), SHA256: in.sums[path], EV: round(v.EV[j], 2)})
		}
		brackets[i] = b
	}
	var ids []string
	err := in.shoot.Update(ctx, func(d *shoot.Doc) error {
		ids = d.Adopt(brackets)
		if n := len(in.job.Rooms); n > len(ids) {
			return fmt.Errorf("%d rooms are named but the card has %d views; \"mullion list\" shows them", n, len(ids))
		}
		for i, room := range in.job.Rooms {
			if v := d.View(ids[i]); v.Room == "" {
				v.Room = strings.TrimSpace(room)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	in.notes = map[string][]finding.Finding{}
	for i, v := range s.Views {
		for _, n := range v.Notes {
			in.notes[ids[i]] = append(in.notes[ids[i]], finding.Finding{
				Code: n.Code, Severity: finding.Severity(n.Severity), Message: n.Message, Value: n.Value, Unit: n.Unit,
			})
		}
	}
	return nil
}

// relative is a path as shoot.json keeps it: below the shoot where it lies there.
func (in *intake) relative(path string) string {
	if in.job.InPlace {
		return path
	}
	rel, err := filepath.Rel(in.shoot.Dir(), path)
	if err != nil {
		return path
	}
	return filepath.ToSlash(rel)
}

var errNoViews = errors.New("there is no view to finish: every view of this shoot is marked to be left out")
