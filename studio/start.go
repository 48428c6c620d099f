package studio

import (
	"context"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"mullion/demo"
	"mullion/finish"
	"mullion/shoot"
)

func (s *Server) startRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /start", s.start)
	m.HandleFunc("GET /cover/{key}", answer(s.cover))
	m.HandleFunc("POST /enter", answer(s.open))
	m.HandleFunc("POST /take", answer(s.takeIn))
	m.HandleFunc("POST /demo", answer(s.demo))
}

// startData is the page without a shoot.
type startData struct {
	Open   string // the open shoot's name, empty without
	Recent []recentShoot
	Cards  []string
	To     string // the folder offered for a new shoot
	Demo   string // where the demo goes; empty when there is no place for it
}

func (s *Server) start(w http.ResponseWriter, r *http.Request) {
	p := startData{Recent: s.recent(), Cards: s.cards()}
	if h := s.here(); h != nil {
		p.Open = title(h.dir)
	}
	if s.opt.Home != "" {
		p.To = free(filepath.Join(s.opt.Home, time.Now().Format("2006-01-02")))
		p.Demo = filepath.Join(s.opt.Home, "demo")
	}
	s.show(w, r, startPage(p))
}

// free is a folder's name that is not taken: the name itself, or with a number.
func free(dir string) string {
	name := dir
	for c := 'b'; c <= 'z'; c++ {
		if _, err := os.Stat(name); errors.Is(err, os.ErrNotExist) {
			return name
		}
		name = dir + string(c)
	}
	return name
}

// roots are where systems put what is plugged in.
var roots = []string{"/media/*/*", "/media/*", "/run/media/*/*", "/mnt/*", "/Volumes/*"}

// cards lists what looks like a memory card: it has a folder DCIM (JEITA CP-3461).
func (s *Server) cards() []string {
	places := s.opt.Roots
	if places == nil {
		places = roots
	}
	var out []string
	seen := map[string]bool{}
	for _, pattern := range places {
		dirs, err := filepath.Glob(pattern)
		if err != nil {
			continue
		}
		for _, d := range dirs {
			if info, err := os.Stat(filepath.Join(d, "DCIM")); err == nil && info.IsDir() && !seen[d] {
				seen[d] = true
				out = append(out, d)
			}
		}
	}
	return out
}

// open opens a shoot by its folder.
func (s *Server) open(w http.ResponseWriter, r *http.Request) error {
	var q struct{ Dir string }
	if err := take(r, &q); err != nil {
		return err
	}
	if q.Dir == "" {
		return fault{http.StatusBadRequest, "name the shoot's folder"}
	}
	if err := s.enter(home(q.Dir)); err != nil {
		return fault{http.StatusBadRequest, err.Error()}
	}
	give(w, map[string]string{"to": "/"})
	return nil
}

// home writes out a leading ~.
func home(path string) string {
	path = strings.TrimSpace(path)
	if rest, ok := strings.CutPrefix(path, "~/"); ok {
		if dir, err := os.UserHomeDir(); err == nil {
			return filepath.Join(dir, rest)
		}
	}
	return path
}

// takeIn begins the whole job on a card: the safe copy, the views, the pictures.
func (s *Server) takeIn(w http.ResponseWriter, r *http.Request) error {
	var q struct{ Card, To, Second string }
	if err := take(r, &q); err != nil {
		return err
	}
	q.Card, q.To, q.Second = home(q.Card), home(q.To), home(q.Second)
	switch {
	case q.Card == "":
		return fault{http.StatusBadRequest, "name the card or the folder with its files"}
	case !filepath.IsAbs(q.Card) || !filepath.IsAbs(q.To) || q.Second != "" && !filepath.IsAbs(q.Second):
		return fault{http.StatusBadRequest, "name folders from the top, like /media/card or ~/shoots/2026-05-14"}
	}
	return s.run(w, "take in", q.To, func(context.Context) (finish.Job, error) {
		return finish.Job{Card: q.Card, Shoot: q.To, Second: q.Second}, nil
	})
}

// demo writes the demo card where it isn't yet and takes it in.
func (s *Server) demo(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Home == "" {
		return fault{http.StatusBadRequest, "there is no home folder to put the demo into; use \"mullion demo\""}
	}
	dir := filepath.Join(s.opt.Home, "demo")
	return s.run(w, "take in", filepath.Join(dir, "invented house"), func(ctx context.Context) (finish.Job, error) {
		card := filepath.Join(dir, "card")
		if _, err := os.Stat(card); errors.Is(err, os.ErrNotExist) {
			if err := s.demoCard(ctx, dir, card); err != nil {
				return finish.Job{}, err
			}
		}
		return finish.Job{Card: card, Shoot: filepath.Join(dir, "invented house"), Rooms: demoRooms}, nil
	})
}

// demoCard writes the card under another name first, so that a half one is never
// taken for a whole one.
func (s *Server) demoCard(ctx context.Context, dir, card string) error {
	s.progress(finish.Event{Step: "writing the demo card"})
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	part, err := os.MkdirTemp(dir, ".card-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(part)
	half := filepath.Join(part, "card")
	if err := demo.Write(ctx, half, demo.Options{}, nil); err != nil {
		return err
	}
	return os.Rename(half, card)
}

var demoRooms = []string{"Entry", "Living room", "Dining room", "Kitchen", "Kitchen", "Guest room", "Bathroom", "Shower room"}

// run does a whole job in the background and opens its shoot, as soon as there is one
// to look at.
func (s *Server) run(w http.ResponseWriter, what, dir string, prepare func(context.Context) (finish.Job, error)) error {
	err := s.begin(what, func(ctx context.Context, tell func(finish.Event)) (*finish.Report, string, error) {
		job, err := prepare(ctx)
		if err != nil {
			return nil, "", err
		}
		job.Who, job.Licence, job.Version, job.Keys, job.Report = s.opt.Who, s.opt.Licence, s.opt.Version, s.opt.Keys, tell
		report, err := finish.Run(ctx, job)
		if _, bad := shoot.Read(dir); bad != nil {
			return report, "", err
		}
		return report, "/", errors.Join(err, s.enter(dir))
	})
	if err != nil {
		return err
	}
	give(w, s.job.look())
	return nil
}

func firstOf(list []string) string {
	if len(list) == 0 {
		return ""
	}
	return list[0]
}

func cardsFound(list []string) string {
	switch len(list) {
	case 0:
		return "No card is plugged in that looks like one. Any folder with camera files will do."
	case 1:
		return "This one is plugged in."
	}
	return count(len(list), "card") + " are plugged in."
}
