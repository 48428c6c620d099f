// Package finish strings the stations together: from a memory card to finished,
// delivered pictures with a report. It is the only package that knows the order of
// the stations; the command line, pages and workers all call it.
//
// [Run] does the whole job, [Look] only groups a card's frames into views, and
// [Merge] only merges one bracket. A run can be stopped at any instant: what is
// finished is kept, and the next run does only what is missing or was made from
// other inputs.
package finish

import (
	"context"
	"errors"
	"fmt"

	"mullion/card"
	"mullion/deliver"
	"mullion/shoot"
	"mullion/who"
)

// engine is part of every finished picture's key. It is raised when a change makes
// other pictures from the same frames and settings.
const engine = "28"

// Job says what is to be done. Card and Shoot are needed.
type Job struct {
	Card    string   // the card, or any folder with camera files; only read
	Shoot   string   // the shoot's folder; made when it isn't there
	Second  string   // a second place for the originals; empty for none
	InPlace bool     // leave the originals where they are, without copying
	Sheets  []string // delivery sheets, built-in names or files; "listing" when empty
	Rooms   []string // rooms of the views in shooting order, for views that have none
	Jobs    int      // views worked on at a time; 0 chooses by their size
	Who     who.Who
	Version string      // of the program, for the report and the files
	Licence string      // the user's own licence text, with {year} and {creator}; empty for none
	Keys    string      // the folder of the key that signs edit records; empty for no records
	Report  func(Event) // told about progress; may be nil
}

func (j *Job) tell(e Event) {
	if j.Report != nil {
		j.Report(e)
	}
}

// Run does the job and reports on it. Whatever fails for one file or view is in the
// report's Failed and the rest is delivered; the error is for what stops everything:
// a card without pictures, a shoot that can't be written, a wrong sheet, or the
// context. The report is valid, as far as it got, with an error too.
func Run(ctx context.Context, job Job) (*Report, error) {
	report := &Report{Version: job.Version, Views: []ViewReport{}}
	sheets, err := loadSheets(ctx, job.Sheets)
	if err != nil {
		return report, err
	}
	files, problems, err := card.Scan(ctx, job.Card)
	if err != nil {
		return report, err
	}
	for _, p := range problems {
		if !p.Left {
			report.fail(p.Path, p.Err)
		}
	}
	for _, place := range []string{job.Shoot, job.Second} {
		if err := offCard(place, job.Card); err != nil {
			return report, err
		}
	}
	s, err := shoot.OpenOrCreate(ctx, job.Shoot)
	if err != nil {
		return report, err
	}
	defer s.Close()

	in := &intake{job: &job, shoot: s, report: report}
	survey, err := in.take(ctx, files)
	if err != nil {
		return report, err
	}
	if err := in.enter(ctx, survey); err != nil {
		return report, err
	}
	line := &line{job: &job, shoot: s, report: report, sheets: sheets, notes: in.notes}
	return report, line.run(ctx)
}

func loadSheets(ctx context.Context, names []string) ([]deliver.Sheet, error) {
	if len(names) == 0 {
		names = []string{"listing"}
	}
	var sheets []deliver.Sheet
	taken := map[string]bool{}
	for _, n := range names {
		sheet, err := deliver.LoadSheet(ctx, n)
		if err != nil {
			return nil, err
		}
		if taken[sheet.Name] {
			return nil, fmt.Errorf("two delivery sheets are called %q; a delivery's folder has its sheet's name, so give one of them another", sheet.Name)
		}
		taken[sheet.Name] = true
		sheets = append(sheets, sheet)
	}
	return sheets, nil
}

func (r *Report) fail(what string, why error) {
	r.Failed = append(r.Failed, Failure{What: what, Why: why.Error()})
}

// stopped reports whether err is the context's end rather than a fault.
func stopped(err error) bool {
	return errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}
