package studio

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"mullion/finish"
)

// job is the one long piece of work a studio does at a time. It lives as long as the
// server and not as the page that asked for it.
type job struct {
	mu     sync.Mutex
	cancel context.CancelFunc // while it runs
	state  jobState
	done   sync.WaitGroup
}

// jobState is what pages are told of the job.
type jobState struct {
	What   string   `json:"what"`  // "deliver", "take in"; empty when there was none
	State  string   `json:"state"` // "running", "done", "stopped", "failed"
	Step   string   `json:"step"`
	Done   int      `json:"done"`
	Total  int      `json:"total"`
	Note   string   `json:"note"`
	Error  string   `json:"error,omitempty"`
	Failed []string `json:"failed,omitempty"` // what could not be done, in sentences
	To     string   `json:"to,omitempty"`     // the page that shows what came of it
}

var errWorking = fault{409, "something is being made already; wait until it is done, or stop it"}

// start runs fn until it ends, is stopped, or the server goes.
func (s *Server) begin(what string, fn func(ctx context.Context, tell func(finish.Event)) (*finish.Report, string, error)) error {
	j := &s.job
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.cancel != nil {
		return errWorking
	}
	ctx, cancel := context.WithCancel(s.base)
	j.cancel = cancel
	j.state = jobState{What: what, State: "running", Step: "beginning"}
	j.done.Go(func() {
		defer cancel()
		report, to, err := fn(ctx, s.progress)
		j.mu.Lock()
		j.cancel = nil
		j.state.end(report, to, err)
		state := j.state
		j.mu.Unlock()
		s.hub.tell(event{Kind: "job", State: state.State})
	})
	s.hub.tell(event{Kind: "job", State: "running"})
	return nil
}

// progress passes a run's step on to the pages.
func (s *Server) progress(e finish.Event) {
	s.job.mu.Lock()
	s.job.state.Step, s.job.state.Done, s.job.state.Total, s.job.state.Note = e.Step, e.Done, e.Total, e.Note
	s.job.mu.Unlock()
	s.hub.tell(event{Kind: "progress", Step: e.Step, Done: e.Done, Total: e.Total, Note: e.Note})
}

func (j *jobState) end(report *finish.Report, to string, err error) {
	j.To = to
	if report != nil {
		for _, f := range report.Failed {
			j.Failed = append(j.Failed, f.Why)
		}
	}
	switch {
	case errors.Is(err, context.Canceled):
		j.State = "stopped"
	case err != nil:
		j.State, j.Error = "failed", onPage(err)
	default:
		j.State = "done"
	}
}

// onPage is an error in words that say what to do on a page.
func onPage(err error) string {
	if many := (*finish.TooMany)(nil); errors.As(err, &many) {
		return fmt.Sprintf("There are %d pictures and the sheet %s takes %d. Put %d or less under \"Pictures agreed on\", or leave some out on the walk.",
			many.Pictures, many.Sheet, many.Most, many.Most)
	}
	return err.Error()
}

// look is the state of the job.
func (j *job) look() jobState {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.state
}

// runs reports whether the job is under way.
func (j *job) runs() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.cancel != nil
}

// stop asks the job to end; what is finished is kept.
func (j *job) stop() {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.cancel != nil {
		j.cancel()
	}
}

// wait returns when the job has ended.
func (j *job) wait() { j.done.Wait() }
