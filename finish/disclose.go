package finish

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"mullion/deliver"
	"mullion/finding"
	"mullion/imprint"
	"mullion/record"
)

// twins writes the unaltered twin of every file that is due, beside where it will
// be: first, so that no altered picture is ever without one. Where nothing is taken
// out, a twin of an earlier run goes.
func (l *line) twins(ctx context.Context, w *work, pic *picture, due []deliver.Target) error {
	if pic.twin == nil {
		for _, t := range due {
			if err := os.Remove(record.TwinName(t.Path)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("an earlier unaltered picture can't be removed: %w", err)
			}
		}
		return nil
	}
	var targets []deliver.Target
	for _, t := range due {
		targets = append(targets, deliver.Target{Sheet: t.Sheet, Path: record.TwinName(t.Path)})
	}
	about := l.facts(w, pic)
	l.word(&about, w)
	disclose(&about, softenings(pic.edits), "")
	_, err := deliver.WriteAll(ctx, pic.twin, about, targets)
	return err
}

// disclose writes into a file what was done to its picture.
func disclose(a *deliver.About, edits []record.Edit, twin string) {
	if len(edits) == 0 {
		return
	}
	a.Instructions = record.Caption(edits, twin)
	a.Description = strings.TrimSpace(a.Description + " " + a.Instructions)
	a.Source = imprint.HumanEdits
}

// twinName is the name of the unaltered twin in all deliveries of a view, or empty
// where they differ.
func (w *work) twinName() string {
	name := ""
	for i, p := range w.places {
		if n := filepath.Base(record.TwinName(p.path)); i == 0 || n == name {
			name = n
		} else {
			return ""
		}
	}
	return name
}

// warnFirst adds the finding that a delivery's first picture should be unaltered, or
// takes it back.
func (w *work) warnFirst() {
	w.report.Findings = slices.DeleteFunc(w.report.Findings, func(f finding.Finding) bool { return f.Code == "first-picture-altered" })
	if w.order == 1 && includes(w.report.Edits, record.Remove) {
		w.report.Findings = append(w.report.Findings, finding.Finding{
			Code: "first-picture-altered", Severity: finding.Look, Value: 1, Unit: "picture",
			Message: "Something was taken out of the first picture; listing services ask for it unaltered. Put another picture first, or undo the removal.",
		})
	}
}

func includes(edits []record.Edit, a record.Action) bool {
	for _, e := range edits {
		if e.Action == a {
			return true
		}
	}
	return false
}

// tell fills in what the gallery says about an altered picture.
func tell(item *deliver.Item, w *work, p place) {
	if len(w.report.Edits) == 0 {
		return
	}
	item.Source = imprint.HumanEdits
	twin := twinOf(w, p)
	if twin != "" {
		item.Unaltered = twin
	}
	item.Altered = record.Caption(w.report.Edits, "") // the page links the twin
}

// twinOf is the path of the unaltered twin of a place, or empty for none.
func twinOf(w *work, p place) string {
	if !removes(w.view) {
		return ""
	}
	path := record.TwinName(p.path)
	if _, err := os.Stat(path); err != nil {
		return ""
	}
	return path
}

// sign writes the edit record of one delivery, unless the one that is there says the
// same and still holds. It returns when the record was made.
func (l *line) sign(ctx context.Context, dir string, sheet int) (time.Time, error) {
	if l.job.Keys == "" {
		return time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC), nil // the earliest an archive knows
	}
	r := record.Record{Program: "Mullion " + l.job.Version, Made: time.Now().UTC().Truncate(time.Second), Delivery: l.sheets[sheet].Name, Pictures: []record.Picture{}}
	for _, w := range l.work {
		if w.err != nil {
			continue
		}
		p := w.places[sheet]
		one := record.Picture{
			File: filepath.Base(p.path), View: w.view.ID, Room: w.view.Room, Frames: max(1, merged(w.report)),
			Dust: w.report.Dust, Edits: append([]record.Edit{}, w.report.Edits...),
		}
		source := imprint.About{Merged: merged(w.report)}.SourceType()
		if len(one.Edits) > 0 {
			source = imprint.HumanEdits
		}
		one.SourceType = source.URI()
		if twin := twinOf(w, p); twin != "" {
			one.Unaltered = filepath.Base(twin)
		}
		one.Caption = record.Caption(one.Edits, one.Unaltered)
		r.Pictures = append(r.Pictures, one)
		for _, f := range w.view.Frames {
			path := f.Path
			if filepath.IsAbs(path) {
				path = filepath.Base(path) // left in place: where is nobody else's business
			}
			r.Originals = append(r.Originals, record.File{Path: path, SHA256: f.SHA256})
		}
	}
	if v, err := record.Verify(ctx, dir, ""); err == nil && v.OK() && v.Record.Program == r.Program &&
		reflect.DeepEqual(v.Record.Pictures, r.Pictures) && reflect.DeepEqual(v.Record.Originals, r.Originals) {
		return v.Record.Made, nil
	}
	key, err := record.Key(l.job.Keys)
	if err != nil {
		return r.Made, err
	}
	return r.Made, record.Write(ctx, dir, r, key)
}
