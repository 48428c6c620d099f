package studio

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"path/filepath"
	"sync"
	"time"

	"github.com/a-h/templ"

	"mullion/who"
)

//go:embed assets
var assets embed.FS

// Options say what a studio needs to know. Shoot may be empty: the first page then
// offers to take in a card or to open a shoot.
type Options struct {
	Shoot   string // the shoot's folder
	Version string // of the program
	Who     who.Who
	Licence string   // the photographer's own licence text; empty for none
	Keys    string   // the folder of the key that signs edit records; empty for none
	Config  string   // the folder where recent shoots are remembered; empty for nowhere
	Home    string   // the folder offered for new shoots
	Roots   []string // folders to look for cards in; the system's usual ones when nil
}

// Server is a running studio.
type Server struct {
	opt   Options
	hub   *hub
	guard *guard
	http  *http.Server
	ln    net.Listener
	stop  context.CancelFunc
	base  context.Context // ends with the server

	behind sync.WaitGroup // what goes on by itself and ends with the server

	mu    sync.Mutex
	house *house
	seen  seen
	fulls fulls
	job   job
}

// Start opens the shoot and a listener on a free port of the loopback address.
func Start(ctx context.Context, opt Options) (*Server, error) {
	s := &Server{opt: opt, hub: newHub()}
	s.seen.later = s.later
	s.base, s.stop = context.WithCancel(ctx)
	if opt.Shoot != "" {
		if err := s.enter(opt.Shoot); err != nil {
			s.stop()
			return nil, err
		}
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		s.stop()
		return nil, fmt.Errorf("the studio can't listen on this machine's own address: %w", err)
	}
	s.ln = ln
	_, port, _ := net.SplitHostPort(ln.Addr().String())
	s.guard = newGuard(s.routes(), port)
	s.http = &http.Server{
		Handler: s.guard, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10,
		BaseContext: func(net.Listener) context.Context { return s.base },
	}
	return s, nil
}

// URL is the address to open, with its key.
func (s *Server) URL() string { return "http://" + s.ln.Addr().String() + "/open/" + s.guard.key }

// Serve answers requests until the context of Start ends, and then for as long as a
// change that is being written takes.
func (s *Server) Serve() error {
	done := make(chan struct{})
	s.behind.Go(s.watch)
	go func() {
		<-s.base.Done()
		close(s.hub.done)
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = s.http.Shutdown(ctx)
		close(done)
	}()
	err := s.http.Serve(s.ln)
	s.stop()
	<-done
	s.job.wait()
	s.behind.Wait()
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

// later does something behind the pages, or at once when the server is about to end.
func (s *Server) later(fn func()) {
	if s.base.Err() != nil {
		fn()
		return
	}
	s.behind.Go(fn)
}

// watch looks every second or two whether another program has changed the shoot.
func (s *Server) watch() {
	tick := time.NewTicker(1500 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-s.base.Done():
			return
		case <-tick.C:
			if h := s.here(); h != nil && h.notice() {
				s.check(h) // there may be frames of another card
			}
		}
	}
}

// enter opens a shoot in this studio.
func (s *Server) enter(dir string) error {
	h, err := openHouse(dir, func(rev int) { s.hub.tell(event{Kind: "changed", Rev: rev}) })
	if err != nil {
		return err
	}
	s.mu.Lock()
	was := s.house
	s.house = h
	s.mu.Unlock()
	if was != nil {
		was.checking.stop()
	}
	s.check(h)
	s.remember(h.dir)
	return nil
}

// here is the open shoot, nil on the start page.
func (s *Server) here() *house {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.house
}

func (s *Server) routes() http.Handler {
	m := http.NewServeMux()
	files, err := fs.Sub(assets, "assets")
	if err != nil {
		panic(err) // the folder is compiled in
	}
	m.Handle("GET /assets/", http.StripPrefix("/assets/", http.FileServerFS(files)))
	m.HandleFunc("GET /favicon.ico", func(w http.ResponseWriter, r *http.Request) { http.ServeFileFS(w, r, files, "mark.svg") })
	m.Handle("GET /events", s.hub)
	m.HandleFunc("GET /{$}", s.first)
	s.startRoutes(m)
	s.walkRoutes(m)
	s.viewRoutes(m)
	s.editRoutes(m)
	s.deliverRoutes(m)
	s.pictureRoutes(m)
	return m
}

// first shows the walk, or the start page without a shoot.
func (s *Server) first(w http.ResponseWriter, r *http.Request) {
	if s.here() == nil {
		http.Redirect(w, r, "/start", http.StatusSeeOther)
		return
	}
	s.walk(w, r)
}

// show writes a page.
func (s *Server) show(w http.ResponseWriter, r *http.Request, page templ.Component) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_ = page.Render(r.Context(), w)
}

// give writes a value as JSON.
func give(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(v)
}

// take reads a request's JSON.
func take(r *http.Request, v any) error {
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	err := d.Decode(v)
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return err
	}
	if err != nil {
		return fault{http.StatusBadRequest, fmt.Sprintf("this request can't be understood (%v)", err)}
	}
	return nil
}

// fault is an error with the HTTP status it is answered with.
type fault struct {
	status int
	why    string
}

func (f fault) Error() string { return f.why }

var errNoView = fault{http.StatusNotFound, "there is no such view in this shoot"}
var errNoShoot = fault{http.StatusNotFound, "no shoot is open"}

// answer turns a handler that returns an error into one that says it: as JSON, in a
// sentence that the page shows as it is.
func answer(fn func(w http.ResponseWriter, r *http.Request) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		err := fn(w, r)
		if err == nil || r.Context().Err() != nil {
			return
		}
		status := http.StatusInternalServerError
		var f fault
		var large *http.MaxBytesError
		switch {
		case errors.As(err, &large):
			status = http.StatusRequestEntityTooLarge
		case errors.As(err, &f):
			status = f.status
		case errors.Is(err, errStale), errors.Is(err, errElsewhere), errors.Is(err, errBusy):
			status = http.StatusConflict
		}
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(status)
		_ = json.NewEncoder(w).Encode(map[string]string{"error": err.Error()})
	}
}

// title is how a shoot is called: its folder's name.
func title(dir string) string { return filepath.Base(dir) }
