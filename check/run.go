// Package check tells a photographer, before the tripod is folded, which views to
// take again and why.
//
// Every view's frames are decoded once, reduced, and merged at reduced size by the
// stations that will finish the view later (bracket, window, whitebalance, plumb), so
// that the check sees what the finished picture will suffer from. What is lost by
// reduction is measured on all pixels first: clipping photosite by photosite, and
// sharpness from the slopes of edges. Measuring and judging are apart: [limits.go]
// holds every threshold with its reason.
//
// A check only reads.
package check

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
	"time"

	"mullion/finding"
	"mullion/finish"
	"mullion/group"
	"mullion/jobfile"
)

// Options steer a check.
type Options struct {
	Job      *jobfile.Job // what was agreed; nil for no comparison
	Pictures bool         // keep small pictures for [Page]
	Version  string       // of the program, for the report
	// Frames are the files to be checked, wherever they lie, instead of all in the folder;
	// they are named below it. None for the whole folder.
	Frames []string
	// View is told about each view as soon as it is judged, in shooting order; what
	// only the whole set tells is added to the report later. It may be nil.
	View func(*View)
	// Progress is told how far the survey of the card is; it may be nil.
	Progress func(finish.Event)
}

// Run checks a card or any folder of frames. Files that can't be read are findings and
// the rest goes on; the error is for a folder that can't be used, or the context's.
func Run(ctx context.Context, card string, opt Options) (*Report, error) {
	begin := time.Now()
	survey, err := opt.survey(ctx, card)
	if err != nil {
		return nil, err
	}
	r := &Report{Version: opt.Version, Card: card, Views: []View{}, Findings: []finding.Finding{}, Reshoot: []string{}, Failed: survey.Failed}
	views, err := r.checkAll(ctx, survey, opt)
	if err != nil {
		return nil, err
	}
	r.Coverage = cover(opt.Job, views)
	r.judgeFailed()
	r.judgeSet(views)
	for _, v := range views {
		r.Views = append(r.Views, *v)
		if v.Verdict() == finding.Reshoot {
			r.Reshoot = append(r.Reshoot, v.ID)
		}
	}
	r.Seconds = math.Round(time.Since(begin).Seconds()*100) / 100
	return r, nil
}

func (o Options) survey(ctx context.Context, card string) (*finish.Survey, error) {
	if len(o.Frames) > 0 {
		return finish.LookAt(ctx, card, o.Frames, o.Progress)
	}
	return finish.Look(ctx, card, o.Progress)
}

// checkAll decodes the next view's frames while the last one is looked at.
func (r *Report) checkAll(ctx context.Context, survey *finish.Survey, opt Options) ([]*View, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	loaded := make(chan []*small)
	answered := make(chan struct{}) // closed with the first answer, which gets all cores
	go func() {
		defer close(loaded)
		for i, g := range survey.Views {
			if i == 1 {
				select {
				case <-answered:
				case <-ctx.Done():
					return
				}
			}
			frames := loadAll(ctx, survey, g)
			select {
			case loaded <- frames:
			case <-ctx.Done():
				return
			}
		}
	}()
	var views []*View
	for i, g := range survey.Views {
		frames, ok := <-loaded
		if !ok {
			return nil, ctx.Err()
		}
		v, err := one(ctx, survey, g, frames, opt.Pictures)
		if err != nil {
			return nil, err
		}
		views = append(views, v)
		if opt.View != nil {
			opt.View(v)
		}
		if i == 0 {
			close(answered)
		}
	}
	return views, ctx.Err()
}

func loadAll(ctx context.Context, survey *finish.Survey, g group.View) []*small {
	frames := make([]*small, len(g.Frames))
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for i, k := range g.Frames {
		slots <- struct{}{}
		wg.Go(func() {
			defer func() { <-slots }()
			frames[i] = load(ctx, survey.Frames[k].Path)
		})
	}
	wg.Wait()
	return frames
}

// one measures and judges one view.
func one(ctx context.Context, survey *finish.Survey, g group.View, frames []*small, pictures bool) (*View, error) {
	r := &View{ID: g.ID, Findings: []finding.Finding{}}
	for i, k := range g.Frames {
		f := survey.Frames[k]
		r.Frames = append(r.Frames, finish.FrameReport{
			File: f.Rel, Seconds: f.Info.Seconds, ISO: f.Info.ISO, FNumber: round(f.Info.FNumber, 3), EV: round(g.EV[i], 3),
		})
	}
	if isMark(frames) {
		r.Mark = true
		frames[0].release()
		return r, ctx.Err()
	}
	if i := strayMark(frames); i >= 0 {
		r.MarkBefore = true
		frames[i].release()
		frames, r.Frames = slices.Delete(frames, i, i+1), slices.Delete(r.Frames, i, i+1)
	}
	v, err := look(ctx, frames)
	if err != nil {
		return nil, err
	}
	defer v.release()
	r.judge(v, g)
	if v.merged == nil {
		return r, ctx.Err()
	}
	r.report(v)
	r.Summary = v.summary()
	if pictures {
		if r.picture, err = v.draw(ctx); err != nil {
			return nil, err
		}
	}
	r.trace, err = v.trace(ctx)
	return r, err
}

// report fills the fields that the finish report has too.
func (r *View) report(v *seen) {
	for i, m := range v.merged.Frames {
		f := &r.Frames[i]
		step := float64(max(1, v.frames[i].step))
		f.ShiftPx = [2]float64{round(m.ShiftX*step, 2), round(m.ShiftY*step, 2)}
		f.RotationDeg, f.Used, f.Why = round(m.RotationDeg, 4), m.Used, m.Why
		if m.Used {
			f.EV = round(m.RefinedEV, 3)
		}
		if v.frames[i].err != nil {
			f.Why = "it can't be read"
		}
	}
	r.Light = finish.LightReport{Kelvin: math.Round(v.light.Kelvin), Duv: round(v.light.Duv, 5),
		SecondKelvin: math.Round(v.light.SecondKelvin), Confidence: round(v.light.Confidence, 3)}
	p := v.pose
	r.Plumb = finish.PlumbReport{PitchDeg: round(p.PitchDeg, 2), RollDeg: round(p.RollDeg, 2), YawDeg: round(p.YawDeg, 2),
		ResidualDeg: round(p.ResidualDeg, 3), Confidence: round(math.Min(1, p.Confidence), 3), CropKept: round(v.kept, 4), Note: p.Note}
}

func round(v float64, digits int) float64 {
	k := math.Pow(10, float64(digits))
	return math.Round(v*k) / k
}

// isMark is true of a single frame taken with the lens covered, which photographers put
// between two rooms.
func isMark(frames []*small) bool {
	if len(frames) != 1 || frames[0].err != nil {
		return false
	}
	return frames[0].covered()
}

// covered is true of a frame that shows nothing at all.
func (s *small) covered() bool {
	limit := markLight
	if s.frame.Coded != nil {
		limit = markCode
	}
	return planeQuantile(s.colours()[1], .995) < limit
}

// strayMark finds a mark that was taken so soon before its view's bracket that it was
// counted with it: a black frame although a shorter exposure is none. -1 without one.
func strayMark(frames []*small) int {
	for i, f := range frames { // darkest first
		if i == 0 || f.err != nil || frames[i-1].err != nil || !f.covered() || frames[i-1].covered() {
			continue
		}
		return i
	}
	return -1
}

// judgeFailed speaks of files that could not even be grouped.
func (r *Report) judgeFailed() {
	for _, f := range r.Failed {
		r.Findings = append(r.Findings, finding.Finding{Code: "file-unreadable", Severity: finding.Reshoot, Value: 1, Unit: "files",
			Message: "A file on the card can't be read: " + f.Why + ". If it belongs to a view, shoot that view again."})
	}
}
