package finish

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"mullion/card/disk"
	"mullion/deliver"
	"mullion/finding"
	"mullion/metadata"
	"mullion/shoot"
)

// line takes the views of a shoot to their deliveries.
type line struct {
	job    *Job
	shoot  *shoot.Shoot
	report *Report
	sheets []deliver.Sheet
	notes  map[string][]finding.Finding

	soundings map[string]*sounding  // by view
	around    map[string]neighbours // by view
	spool     *spool

	work []*work
	mu   sync.Mutex
	done int
}

// work is one view of a run and where its pictures go.
type work struct {
	view   shoot.View
	order  int // in the gallery, from 1
	nth    int // picture of its room, from 1
	of     int
	paths  []string
	places []place // one a delivery sheet
	report ViewReport
	done   bool // in this run or an earlier one; its report is whole
	err    error
}

// due reports whether any of the view's files has to be made in this run.
func (w *work) due() bool {
	return slices.ContainsFunc(w.places, func(p place) bool { return p.due })
}

// place is one file a view is delivered as.
type place struct {
	sheet deliver.Sheet
	path  string
	key   string // what it is made from
	// pixels is the part of key that its pixels depend on, and not its words.
	pixels string
	due    bool // has to be made in this run
}

func (l *line) run(ctx context.Context) error {
	l.spool = newSpool(l.shoot.Cache())
	defer l.spool.close()
	if err := l.sound(ctx); err != nil {
		return err
	}
	var err error
	if l.around, err = together(ctx, l.shoot.Doc().Views, l.soundings); err != nil {
		return err
	}
	if err := l.sweep(); err != nil {
		return err
	}
	if err := l.plan(ctx); err != nil {
		return err
	}
	if err := l.restamp(ctx); err != nil {
		return err
	}
	err = l.finishAll(ctx)
	for _, w := range l.work {
		switch {
		case w.done:
			l.report.Views = append(l.report.Views, w.report)
		case w.err != nil && !stopped(w.err):
			l.report.fail(w.view.ID, w.err)
		}
	}
	if err != nil {
		return err
	}
	if err := l.withdraw(ctx); err != nil {
		return err
	}
	return l.pages(ctx)
}

// sweep takes what a killed run was writing out of the deliveries: the next one may give
// its files other names, and then nothing would ever replace it.
func (l *line) sweep() error {
	for _, s := range l.sheets {
		dir, err := l.shoot.Delivery(s.Name)
		if err != nil {
			return err
		}
		if err := disk.Sweep(dir); err != nil {
			return fmt.Errorf("%s can't be tidied: %w", dir, err)
		}
	}
	return nil
}

// plan names every file of every delivery before any is made, so that no two views
// can want the same name.
func (l *line) plan(ctx context.Context) error {
	views, aside := gallery(l.shoot.Doc())
	if len(views) == 0 {
		return errNoViews
	}
	for _, v := range aside {
		l.report.Aside = append(l.report.Aside, v.ID)
	}
	namers := make([]deliver.Namer, len(l.sheets))
	for i, sheet := range l.sheets {
		namers[i] = deliver.Namer{Pattern: sheet.Set.Names, Total: len(views)}
	}
	for i, v := range views {
		l.work = append(l.work, &work{view: v, order: i + 1, paths: l.framePaths(v)})
	}
	l.numberRooms()
	for _, w := range l.work {
		for k, sheet := range l.sheets {
			p, err := l.place(w, sheet, &namers[k])
			if err != nil {
				return err
			}
			if err := l.check(ctx, w, &p); err != nil {
				return err
			}
			w.places = append(w.places, p)
		}
	}
	return nil
}

// place is where a view goes by one sheet, and what its file is made from.
func (l *line) place(w *work, sheet deliver.Sheet, names *deliver.Namer) (place, error) {
	dir, err := l.shoot.Delivery(sheet.Name)
	if err != nil {
		return place{}, err
	}
	v := w.view
	name := names.Name(w.order, v.Room)
	p := place{sheet: sheet, path: filepath.Join(dir, name)}
	made := pixels{v.Decisions, v.Edits, l.around[v.ID]}
	if p.pixels, err = shoot.Key(v.Frames, made, sheet, engine); err != nil {
		return p, err
	}
	p.key, err = shoot.Key(v.Frames, struct {
		Made           pixels
		Room, Name     string
		Caption, Alt   string `json:",omitempty"`
		Nth, Of, Order int
		Who            any
	}{made, v.Room, name, v.Caption, v.Alt, w.nth, w.of, w.order, l.job.Who}, sheet, engine)
	return p, err
}

// pixels is all that a finished picture depends on beside its frames and its sheet.
type pixels struct {
	Decisions shoot.Decisions
	Edits     []shoot.Edit `json:",omitempty"`
	Shared    neighbours
}

// check decides whether a file has to be made: not when an earlier run made it from
// the same things, it is unchanged, and its account is still there.
func (l *line) check(ctx context.Context, w *work, p *place) error {
	_, ok, err := l.shoot.Finished(ctx, w.view.ID, p.sheet.Name, p.key)
	if err != nil {
		return err
	}
	p.due = !ok
	if ok && !l.recall(w, *p) {
		p.due = true
	}
	return nil
}

// accountPath is where a finished file's account is kept. It can be made again.
func (l *line) accountPath(key string) string {
	return accountPath(l.shoot.Cache(), key)
}

func accountPath(cache, key string) string { return filepath.Join(cache, "reports", key+".json") }

func (l *line) readAccount(key string) (a account, ok bool) {
	if key == "" {
		return a, false
	}
	b, err := os.ReadFile(l.accountPath(key))
	return a, err == nil && json.Unmarshal(b, &a) == nil && len(a.Files) == 1
}

// recall reads the account of a file that an earlier run made into w.
func (l *line) recall(w *work, p place) bool {
	a, ok := l.readAccount(p.key)
	if !ok {
		return false
	}
	a.Files[0].Path = p.path // the shoot may have moved since, or is called otherwise
	files := append(w.report.Files, a.Files...)
	w.report = a.ViewReport
	w.report.Files = files
	return true
}

// remember keeps the account of one file for later runs.
func (l *line) remember(p place, r ViewReport, f FileReport, about deliver.About) error {
	r.Files = []FileReport{f}
	r.Kept = true
	b, err := json.Marshal(account{r, p.pixels, about})
	if err != nil {
		return err
	}
	path := l.accountPath(p.key)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o644)
}

// finishing is the step of a run that takes its time.
const finishing = "finishing views"

// finishAll works on as many views at a time as the job allows.
func (l *line) finishAll(ctx context.Context) error {
	l.job.tell(Event{Step: finishing, Total: len(l.work)})
	slots := make(chan struct{}, l.atOnce(ctx))
	var wg sync.WaitGroup
	for _, w := range l.work {
		select {
		case slots <- struct{}{}:
		case <-ctx.Done():
		}
		if ctx.Err() != nil {
			break
		}
		wg.Go(func() {
			defer func() { <-slots }()
			start := time.Now()
			w.err = l.one(ctx, w)
			w.done = w.err == nil
			if ctx.Err() == nil {
				l.count(w, time.Since(start))
			}
		})
	}
	wg.Wait()
	return ctx.Err()
}

// Two views are in work at a time up to so many pixels a frame: together they hold less
// than one of 24 megapixels. Files that don't say their size go by their bytes.
const (
	twoPixels = 12e6
	twoBytes  = 16 << 20
)

// atOnce is how many views are in work at a time. Every station uses all cores by
// itself, so more than two views only cost memory, and two large ones too much.
func (l *line) atOnce(ctx context.Context) int {
	if l.job.Jobs > 0 {
		return l.job.Jobs
	}
	for _, w := range l.work {
		if w.due() && len(w.paths) > 0 && tooLargeForTwo(ctx, w.paths[0]) {
			return 1
		}
	}
	return 2
}

// tooLargeForTwo looks at a view's first frame.
func tooLargeForTwo(ctx context.Context, path string) bool {
	if info, err := metadata.Read(ctx, path); err == nil && info.Width > 0 {
		return info.Width*info.Height > twoPixels
	}
	stat, err := os.Stat(path)
	return err == nil && stat.Size() > twoBytes
}

func (l *line) count(w *work, spent time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.done++
	note := w.view.ID
	if w.view.Room != "" {
		note += " (" + w.view.Room + ")"
	}
	switch {
	case w.err != nil:
		note += " failed: " + w.err.Error()
	case w.report.Kept:
		note += " was finished already"
	default:
		note += fmt.Sprintf(", %d frames in %.1f s", len(w.view.Frames), spent.Seconds())
	}
	l.job.tell(Event{Step: finishing, Done: l.done, Total: len(l.work), Note: note})
}

// one finishes one view: nothing when all its files are there, else one picture from
// its frames and from that every file that is due.
func (l *line) one(ctx context.Context, w *work) error {
	if !w.due() {
		return nil
	}
	kept := w.report.Files
	around := l.around[w.view.ID]
	keep, err := keptPath(l.shoot.Cache(), w.view, around)
	if err != nil {
		return err
	}
	scene, clock, err := l.merge(ctx, w)
	if err != nil {
		return err
	}
	pic, err := develop(ctx, scene, clock, w.view.Decisions, around, keep, l.sheets)
	if err != nil {
		return err
	}
	defer pic.release()
	if err := pic.edit(ctx, w.view.Edits, l.shoot.Path); err != nil {
		return err
	}
	_, _ = keepThumb(ctx, pic.rgb, thumbPath(l.shoot.Cache(), w.view, l.shoot.Doc().Views))
	w.report = pic.report(w.view)
	w.report.Findings = append(append([]finding.Finding{}, l.notes[w.view.ID]...), w.report.Findings...)
	w.warnFirst()
	made, err := l.deliver(ctx, w, pic)
	w.report.Files = append(kept, made...)
	w.report.Seconds = pic.clock.Seconds()
	return err
}

// merge is the view's merge: the one that the sounding made, or a new one.
func (l *line) merge(ctx context.Context, w *work) (*Scene, *Clock, error) {
	if scene, clock := l.spool.take(w.view.ID); scene != nil {
		return scene, clock, nil
	}
	clock := &Clock{}
	scene, err := mergeFrames(ctx, w.paths, clock)
	return scene, clock, err
}
