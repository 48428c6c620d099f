package studio

import (
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"time"
)

// event is one thing that pages are told.
type event struct {
	Kind  string `json:"kind"` // "changed", "progress", "check", "job"
	Rev   int    `json:"rev,omitempty"`
	View  string `json:"view,omitempty"`
	Step  string `json:"step,omitempty"`
	Done  int    `json:"done,omitempty"`
	Total int    `json:"total,omitempty"`
	Note  string `json:"note,omitempty"`
	State string `json:"state,omitempty"` // of a job: "running", "done", "stopped", "failed"
}

// hub passes events to all open pages.
type hub struct {
	mu    sync.Mutex
	pages map[chan event]bool
	done  chan struct{} // closed when the server stops
}

func newHub() *hub { return &hub{pages: map[chan event]bool{}, done: make(chan struct{})} }

// tell never waits: a page that doesn't listen misses events and asks again later.
func (h *hub) tell(e event) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.pages {
		select {
		case c <- e:
		default:
		}
	}
}

// ServeHTTP is the stream of server-sent events (HTML Living Standard, section 9.2).
func (h *hub) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	out := http.NewResponseController(w)
	_ = out.SetWriteDeadline(time.Time{})
	c := make(chan event, 64)
	h.mu.Lock()
	h.pages[c] = true
	h.mu.Unlock()
	defer func() {
		h.mu.Lock()
		delete(h.pages, c)
		h.mu.Unlock()
	}()
	w.Header().Set("Content-Type", "text/event-stream")
	fmt.Fprint(w, "retry: 1000\n\n")
	_ = out.Flush()
	beat := time.NewTicker(20 * time.Second)
	defer beat.Stop()
	for {
		select {
		case <-r.Context().Done():
			return
		case <-h.done:
			return
		case <-beat.C:
			fmt.Fprint(w, ": still here\n\n")
		case e := <-c:
			b, err := json.Marshal(e)
			if err != nil {
				return
			}
			fmt.Fprintf(w, "data: %s\n\n", b)
		}
		if out.Flush() != nil {
			return
		}
	}
}
