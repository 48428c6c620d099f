package finish

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"mullion/deliver"
	"mullion/finding"
	"mullion/record"
	"mullion/shoot"
)

// deliver writes every file of a view that is due and records it.
func (l *line) deliver(ctx context.Context, w *work, pic *picture) ([]FileReport, error) {
	var due []place
	var targets []deliver.Target
	for _, p := range w.places {
		if p.due {
			due = append(due, p)
			targets = append(targets, deliver.Target{Sheet: p.sheet, Path: p.path, Reduced: pic.reduced})
			if err := os.MkdirAll(filepath.Dir(p.path), 0o755); err != nil {
				return nil, fmt.Errorf("the delivery's folder can't be made: %w", err)
			}
		}
	}
	end := pic.clock.Start("deliver")
	facts := l.facts(w, pic)
	about := facts
	l.word(&about, w)
	twin := ""
	if pic.twin != nil {
		twin = w.twinName()
	}
	disclose(&about, pic.edits, twin)
	if err := l.twins(ctx, w, pic, targets); err != nil {
		return nil, err
	}
	files, err := deliver.WriteAll(ctx, pic.rgb, about, targets)
	end()
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	errs := []error{err}
	var made []FileReport
	for i, f := range files {
		if f.Path == "" {
			continue
		}
		r := FileReport{Path: f.Path, Delivery: due[i].sheet.Name, Width: f.Width, Height: f.Height, Bytes: int64(f.Bytes), Quality: f.Quality}
		for _, note := range f.Notes {
			w.report.Findings = append(w.report.Findings, finding.Finding{Code: "delivery-limit", Severity: finding.Note, Message: note, Value: float64(f.Quality), Unit: "quality"})
		}
		made = append(made, r)
	}
	for i, f := range files {
		if f.Path == "" {
			continue
		}
		w.report.Seconds = pic.clock.Seconds()
		r := made[slices.IndexFunc(made, func(r FileReport) bool { return r.Path == f.Path })]
		errs = append(errs, l.remember(due[i], w.report, r, facts), l.record(ctx, w, due[i]))
	}
	return made, errors.Join(errs...)
}

// record notes in the shoot that a file is finished, after removing the file that the
// view was delivered as before under a name that nobody has now.
func (l *line) record(ctx context.Context, w *work, p place) error {
	if err := l.remove(w.view.Done[p.sheet.Name]); err != nil {
		return err
	}
	files := []string{p.path}
	if twin := twinOf(w, p); twin != "" {
		files = append(files, twin)
	}
	return l.shoot.Finish(ctx, w.view.ID, p.sheet.Name, p.key, files)
}

// remove takes away the files of a delivery, but for those that another view has by now.
func (l *line) remove(d shoot.Done) error {
	for _, o := range d.Outputs {
		path := l.shoot.Path(o.Path)
		if l.claimed(path) {
			continue
		}
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("the picture's earlier file can't be removed: %w", err)
		}
	}
	return nil
}

// withdraw takes the pictures of views that are left out or set aside now from where
// earlier runs delivered them: out of every delivery, also those that are not made today.
func (l *line) withdraw(ctx context.Context) error {
	doc := l.shoot.Doc()
	shown, _ := Gallery(doc)
	for _, v := range doc.Views {
		if slices.Contains(shown, v.ID) || len(v.Done) == 0 {
			continue
		}
		for name, d := range v.Done {
			if err := l.remove(d); err != nil {
				return err
			}
			if err := l.hide(name, d); err != nil {
				return err
			}
		}
		if err := l.shoot.Update(ctx, func(d *shoot.Doc) error { d.View(v.ID).Done = nil; return nil }); err != nil {
			return err
		}
	}
	return nil
}

// hide takes what was delivered out of the delivery's pages.
func (l *line) hide(delivery string, d shoot.Done) error {
	dir, err := l.shoot.Delivery(delivery)
	if err != nil {
		return err
	}
	for _, o := range d.Outputs {
		if err := deliver.Withdraw(dir, o.Path); err != nil {
			return err
		}
	}
	return nil
}

// claimed reports whether a path is where some view of this run is delivered.
func (l *line) claimed(path string) bool {
	for _, w := range l.work {
		for _, p := range w.places {
			if p.path == path || removes(w.view) && record.TwinName(p.path) == path {
				return true
			}
		}
	}
	return false
}

// facts is what the files of a view say about themselves, but for words.
func (l *line) facts(w *work, pic *picture) deliver.About {
	info := pic.scene.Merged.Info
	used := 0
	for _, f := range pic.scene.Merged.Frames {
		if f.Used {
			used++
		}
	}
	return deliver.About{
		Taken:     info.Time,
		HasZone:   info.HasZone,
		HasSubsec: info.Time.Nanosecond() != 0,
		Frames:    len(w.view.Frames),
		Merged:    used,
		FNumber:   info.FNumber, FocalMM: info.FocalMM, Focal35MM: info.Focal35MM, ISO: info.ISO,
		Seconds:  info.Seconds,
		Software: "Mullion " + l.job.Version,
	}
}

// taken is when the first picture of the shoot was taken, zero when unknown.
func (l *line) taken() time.Time {
	var first time.Time
	for _, w := range l.work {
		if t := w.report.Taken; !t.IsZero() && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	return first
}

// pages writes the gallery, the contact sheet, the licence and the edit record of every
// delivery and, once somebody has said how the pictures are handed over, the archive.
func (l *line) pages(ctx context.Context) error {
	for i, sheet := range l.sheets {
		d := l.delivery(i)
		if len(d.Items) == 0 {
			continue
		}
		dir, err := l.shoot.Delivery(sheet.Name)
		if err != nil {
			return err
		}
		if d.Licence, err = l.licence(dir); err != nil {
			return err
		}
		if err := deliver.Pages(ctx, dir, d); err != nil {
			return err
		}
		made, err := l.sign(ctx, dir, i)
		if err != nil {
			return err
		}
		if err := l.archive(ctx, dir, made, d.Archive != ""); err != nil {
			return err
		}
		l.job.tell(Event{Step: "making the gallery", Done: i + 1, Total: len(l.sheets)})
	}
	return nil
}

// delivery is what the pages of one sheet show.
func (l *line) delivery(sheet int) deliver.Delivery {
	d := deliver.Delivery{Who: l.job.Who, Software: "Mullion " + l.job.Version, Date: l.taken()}
	if l.job.Keys != "" {
		d.Record = record.PageName
	}
	if pack := l.shoot.Doc().Pack; pack != nil {
		d.Title, d.Subtitle, d.Branded, d.Letter = pack.Title, pack.Subtitle, pack.Branded, pack.Letter
		d.Archive, d.Small = deliver.ArchiveName, true
	}
	for _, w := range l.work {
		if w.err != nil {
			continue
		}
		item := deliver.Item{Order: w.order, Room: w.view.Room, Caption: w.view.Caption, Alt: w.view.Alt, Merged: merged(w.report)}
		if item.Alt == "" {
			_, item.Alt = deliver.Describe(w.view.Room, w.order, w.nth, w.of)
		}
		for _, f := range w.report.Files {
			if f.Path == w.places[sheet].path {
				item.Files = append(item.Files, deliver.File{Path: f.Path, Sheet: f.Delivery, Width: f.Width, Height: f.Height, Bytes: int(f.Bytes), Quality: f.Quality})
			}
		}
		tell(&item, w, w.places[sheet])
		if len(item.Files) > 0 {
			d.Items = append(d.Items, item)
		}
	}
	return d
}

// archive writes the delivery's archive, or takes away one that would be out of date.
func (l *line) archive(ctx context.Context, dir string, made time.Time, wanted bool) error {
	if wanted {
		return deliver.WriteArchive(ctx, dir, made)
	}
	if err := os.Remove(filepath.Join(dir, deliver.ArchiveName)); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

func merged(r ViewReport) int {
	n := 0
	for _, f := range r.Frames {
		if f.Used {
			n++
		}
	}
	return n
}
