package finish

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"mullion/card/disk"
	"mullion/deliver"
	"mullion/rawfile"
	"mullion/record"
	"mullion/shoot"
)

// licenceFile is the user's own licence text in a delivery.
const licenceFile = "licence.txt"

// Deliver makes the deliveries of a shoot that was taken in before: what is finished
// is used as it is, what is missing is made, and every file is read back and checked
// against its sheet. Of the job, Card, Second, InPlace and Rooms are not used. What is
// wrong with single files or views is in the report's Failed; the error is for what
// stops everything, such as more pictures than a sheet takes, before anything is
// written.
func Deliver(ctx context.Context, job Job) (*Report, error) {
	report := &Report{Version: job.Version, Views: []ViewReport{}}
	sheets, err := loadSheets(ctx, job.Sheets)
	if err != nil {
		return report, err
	}
	s, err := shoot.Open(ctx, job.Shoot)
	if err != nil {
		return report, err
	}
	defer s.Close()
	views, _ := gallery(s.Doc())
	for _, sheet := range sheets {
		if over := sheet.Over(len(views)); over > 0 {
			return report, &TooMany{Pictures: len(views), Sheet: sheet.Name, Most: sheet.Set.MaxCount}
		}
	}
	if s.Doc().Pack == nil {
		if err := s.Update(ctx, func(d *shoot.Doc) error { d.Pack = &shoot.Pack{}; return nil }); err != nil {
			return report, err
		}
	}
	line := &line{job: &job, shoot: s, report: report, sheets: sheets}
	if err := line.run(ctx); err != nil {
		return report, err
	}
	return report, line.validate(ctx)
}

// TooMany is the error for more pictures than a sheet takes. Its words are for the
// command line; a page has its own.
type TooMany struct {
	Pictures int
	Sheet    string
	Most     int // that the sheet takes
}

// Error implements error.
func (e *TooMany) Error() string {
	return fmt.Sprintf("there are %d pictures and sheet %s takes %d: say how many with --package, or leave some out with mullion order", e.Pictures, e.Sheet, e.Most)
}

// validate reads back every file of every delivery.
func (l *line) validate(ctx context.Context) error {
	const step = "reading every file back"
	for i, sheet := range l.sheets {
		for _, w := range l.work {
			if w.err != nil {
				continue
			}
			for _, path := range []string{w.places[i].path, twinOf(w, w.places[i])} {
				if path == "" {
					continue
				}
				faults, err := sheet.Validate(ctx, path)
				if ctx.Err() != nil {
					return ctx.Err()
				}
				if err != nil {
					l.report.fail(path, err)
				}
				for _, f := range faults {
					l.report.fail(path, errors.New(f))
				}
			}
		}
		dir, err := l.shoot.Delivery(sheet.Name)
		if err != nil {
			return err
		}
		if l.job.Keys != "" {
			v, err := record.Verify(ctx, dir, l.shoot.Dir())
			if err != nil {
				return err
			}
			for _, f := range v.Faults {
				l.report.fail(filepath.Join(dir, filepath.FromSlash(f.Path)), errors.New(f.Problem))
			}
		}
		l.job.tell(Event{Step: step, Done: i + 1, Total: len(l.sheets)})
	}
	return nil
}

// Foresee says what of a shoot does not fit the sheets, before anything is written: a
// sentence each, by the sheet's place among the names.
func Foresee(ctx context.Context, dir string, names []string) ([][]string, error) {
	sheets, err := loadSheets(ctx, names)
	if err != nil {
		return nil, err
	}
	doc, err := shoot.Read(dir)
	if err != nil {
		return nil, err
	}
	views, _ := gallery(doc)
	if len(views) == 0 {
		return nil, errNoViews
	}
	items := make([]deliver.Item, len(views))
	each(ctx, len(views), func(i int) {
		v := views[i]
		items[i] = deliver.Item{Order: i + 1, Room: v.Room, Caption: v.Caption}
		if removes(v) {
			items[i].Altered = "altered"
		}
		items[i].Width, items[i].Height = sizeOfView(ctx, dir, v)
	})
	out := make([][]string, len(sheets))
	for i, s := range sheets {
		out[i] = s.Check(items)
	}
	return out, ctx.Err()
}

// sizeOfView is the size of a view's upright frame, 0 when unknown. Straightening cuts
// a little off it.
func sizeOfView(ctx context.Context, dir string, v shoot.View) (w, h int) {
	best, path := math.Inf(1), ""
	for _, f := range v.Frames {
		if math.Abs(f.EV) < best {
			best, path = math.Abs(f.EV), f.Path
		}
	}
	if !filepath.IsAbs(path) {
		path = filepath.Join(dir, filepath.FromSlash(path))
	}
	info, err := rawfile.ReadInfo(ctx, path)
	if err != nil {
		return 0, 0
	}
	if info.Orientation >= 5 {
		return info.Height, info.Width
	}
	return info.Width, info.Height
}

// licence puts the user's own licence text into a delivery, or takes an earlier one out.
func (l *line) licence(dir string) (name string, err error) {
	path := filepath.Join(dir, licenceFile)
	if l.job.Licence == "" {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", err
		}
		return "", nil
	}
	text := l.job.Who.FillLicence(l.job.Licence, l.taken())
	if was, err := os.ReadFile(path); err == nil && string(was) == text {
		return licenceFile, nil
	}
	return licenceFile, disk.WriteFile(disk.OS, path, []byte(text))
}
