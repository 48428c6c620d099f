package finish

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"mullion/card/disk"
	"mullion/deliver"
	"mullion/record"
)

// stamped is a finished file with other words and perhaps another name, waiting under
// a temporary one.
type stamped struct {
	w      *work
	k      int // place
	acc    account
	tmp    []string // the picture, and its unaltered twin
	to     []string
	length int
}

// restamp gives finished files new words and names without making their pictures
// again: naming a room or moving a picture leaves every pixel as it is. All files are
// read before any is replaced, since one view's new name may be another's old one.
func (l *line) restamp(ctx context.Context) error {
	var all []*stamped
	defer func() {
		for _, s := range all {
			for _, t := range s.tmp {
				os.Remove(t) // what was renamed is not there
			}
		}
	}()
	for _, w := range l.work {
		for k := range w.places {
			if !w.places[k].due {
				continue
			}
			s, err := l.reword(ctx, w, k)
			if err != nil {
				return err
			}
			if s != nil {
				all = append(all, s)
			}
		}
	}
	for _, s := range all {
		if err := l.replace(ctx, s); err != nil {
			return err
		}
	}
	return nil
}

// reword writes the new files of one place beside where they will be; it returns nil
// when the picture has to be made.
func (l *line) reword(ctx context.Context, w *work, k int) (*stamped, error) {
	p := w.places[k]
	was := w.view.Done[p.sheet.Name]
	acc, ok := l.readAccount(was.Key)
	if !ok || acc.Pixels != p.pixels {
		return nil, nil
	}
	if _, sound, err := l.shoot.Finished(ctx, w.view.ID, p.sheet.Name, was.Key); err != nil || !sound {
		return nil, err
	}
	s := &stamped{w: w, k: k, acc: acc}
	to := []string{p.path}
	twin := ""
	if removes(w.view) {
		to = append(to, record.TwinName(p.path))
		twin = w.twinName()
	}
	if len(was.Outputs) != len(to) {
		return nil, nil
	}
	for i, o := range was.Outputs {
		about, edits := acc.About, acc.Edits
		l.word(&about, w)
		if i == 1 {
			edits, twin = softenings(edits), ""
		}
		disclose(&about, edits, twin)
		data, err := os.ReadFile(l.shoot.Path(o.Path))
		if err != nil {
			return nil, nil
		}
		if data, err = p.sheet.Restamp(data, about, filepath.Base(to[i])); err != nil {
			return nil, nil // it no longer fits: the picture is made again
		}
		tmp, err := disk.WritePart(disk.OS, to[i], data)
		if err != nil {
			return nil, fmt.Errorf("writing %s: %w", to[i], err)
		}
		s.tmp, s.to = append(s.tmp, tmp), append(s.to, to[i])
		if i == 0 {
			s.length = len(data)
		}
	}
	return s, nil
}

// replace puts the new files in place and records them.
func (l *line) replace(ctx context.Context, s *stamped) error {
	for i, t := range s.tmp {
		if err := os.Rename(t, s.to[i]); err != nil {
			return err
		}
	}
	w, p := s.w, &s.w.places[s.k]
	if w.report.ID == "" {
		files := w.report.Files
		w.report = s.acc.ViewReport
		w.report.Files, w.report.Room = files, w.view.Room
		w.warnFirst()
	}
	f := s.acc.Files[0]
	f.Path, f.Bytes = p.path, int64(s.length)
	w.report.Files = append(w.report.Files, f)
	p.due = false
	if err := l.remember(*p, w.report, f, s.acc.About); err != nil {
		return err
	}
	return l.record(ctx, w, *p)
}

// softenings are the edits that the unaltered twin has too.
func softenings(edits []record.Edit) []record.Edit {
	var soft []record.Edit
	for _, e := range edits {
		if e.Action == record.Soften {
			soft = append(soft, e)
		}
	}
	return soft
}

// account is what is kept of a finished file beside itself: the view's report, what
// its pixels were made from, and what it says without words.
type account struct {
	ViewReport
	Pixels string        `json:"pixels"`
	About  deliver.About `json:"about"`
}
