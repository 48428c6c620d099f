package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"

	"mullion/finish"
)

// progress shows how far a run is: a bar with the time left on a terminal, plain
// lines anywhere else.
type progress interface {
	show(finish.Event)
	close()
}

func newProgress(w *os.File) progress {
	if info, err := w.Stat(); err == nil && info.Mode()&os.ModeCharDevice != 0 {
		return &bars{box: mpb.New(mpb.WithOutput(w), mpb.WithWidth(40)), open: map[string]*bar{}}
	}
	return &lines{w: w, started: map[string]time.Time{}}
}

// lines prints one line an event that matters: a finished view, a finished step.
type lines struct {
	mu      sync.Mutex
	w       io.Writer
	started map[string]time.Time
}

func (l *lines) show(e finish.Event) {
	l.mu.Lock()
	defer l.mu.Unlock()
	start, known := l.started[e.Step]
	if !known {
		start = time.Now()
		l.started[e.Step] = start
	}
	if e.Note == "" && e.Done < e.Total {
		return
	}
	text := fmt.Sprintf("%s: %d of %d", e.Step, e.Done, e.Total)
	if e.Note != "" {
		text += ", " + e.Note
	}
	if left := timeLeft(time.Since(start), e.Done, e.Total); left > time.Second {
		text += fmt.Sprintf("; about %s left", rounded(left))
	}
	fmt.Fprintln(l.w, text)
}

func (l *lines) close() {}

// timeLeft is what the rest takes at the pace so far.
func timeLeft(spent time.Duration, done, total int) time.Duration {
	if done <= 0 || done >= total {
		return 0
	}
	return time.Duration(float64(spent) / float64(done) * float64(total-done))
}

func rounded(d time.Duration) time.Duration {
	if d > 10*time.Minute {
		return d.Round(time.Minute)
	}
	return d.Round(time.Second)
}

// bars keeps one bar a step.
type bars struct {
	mu   sync.Mutex
	box  *mpb.Progress
	open map[string]*bar
}

type bar struct {
	*mpb.Bar
	start time.Time
	mu    sync.Mutex
	last  finish.Event
}

func (b *bars) show(e finish.Event) {
	b.mu.Lock()
	defer b.mu.Unlock()
	one := b.open[e.Step]
	if one == nil {
		one = &bar{start: time.Now()}
		one.Bar = b.box.AddBar(int64(max(1, e.Total)),
			mpb.PrependDecorators(decor.Name(e.Step, decor.WCSyncSpaceR)),
			mpb.AppendDecorators(decor.Any(func(decor.Statistics) string { return one.words() })))
		b.open[e.Step] = one
	}
	one.mu.Lock()
	one.last = e
	one.mu.Unlock()
	one.SetTotal(int64(max(1, e.Total)), false)
	one.SetCurrent(int64(e.Done))
	if e.Done >= e.Total {
		one.SetTotal(int64(max(1, e.Total)), true)
	}
}

func (b *bar) words() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	text := fmt.Sprintf("%d of %d", b.last.Done, b.last.Total)
	if left := timeLeft(time.Since(b.start), b.last.Done, b.last.Total); left > time.Second {
		text += fmt.Sprintf(", about %s left", rounded(left))
	}
	if b.last.Note != "" {
		text += "  " + b.last.Note
	}
	return text
}

func (b *bars) close() {
	b.mu.Lock()
	for _, one := range b.open {
		if !one.Completed() {
			one.Abort(false)
		}
	}
	b.mu.Unlock()
	b.box.Wait()
}
