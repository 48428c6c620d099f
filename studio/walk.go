package studio

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"mullion/deliver"
	"mullion/finding"
	"mullion/finish"
	"mullion/shoot"
)

func (s *Server) walkRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /part/walk", s.walkPart)
	m.HandleFunc("POST /arrange", answer(s.arrange))
	m.HandleFunc("POST /undo", answer(s.undo))
	m.HandleFunc("POST /redo", answer(s.redo))
}

// roomNames are suggested, in the order in which a buyer walks.
var roomNames = []string{
	"Front", "Entry", "Hall", "Living room", "Dining room", "Kitchen", "Breakfast nook", "Pantry", "Family room",
	"Study", "Stairs", "Landing", "Main bedroom", "Bedroom", "Guest room", "Children's room", "Dressing room",
	"Bathroom", "Shower room", "Cloakroom", "Utility room", "Attic", "Cellar", "Garage", "Terrace", "Balcony", "Garden", "Pool", "Rear",
}

// walkData is the walk as the page shows it.
type walkData struct {
	Title    string
	Rooms    []roomData
	Out      []viewData
	History  history
	Checking string   // how far the check of the brackets is, empty when there is none
	Card     []string // what it found about no single view
}

type roomData struct {
	Name  string
	Views []viewData
}

type viewData struct {
	ID, Key, Room string
	Place         int // in the gallery, from 1; 0 when left out
	W, H          int
	Mark          string // the gravest severity, empty for none
	Findings      []string
	Alike         bool // shows the same as the one before
	Aside         bool // more than were agreed on; not delivered
}

// history is what the undo buttons say.
type history struct{ Rev, Undo, Redo string }

func (h *house) history() history {
	out := history{Rev: strconv.Itoa(h.revision())}
	j, err := readJournal(h.dir)
	if err != nil {
		return out
	}
	if j.Done > 0 {
		out.Undo = j.Entries[j.Done-1].What
	}
	if j.Done < len(j.Entries) {
		out.Redo = j.Entries[j.Done].What
	}
	return out
}

// inOrder lists the views as a buyer sees them, and then those that are left out.
func inOrder(d *shoot.Doc) []shoot.View {
	var in, out []shoot.View
	var places []deliver.Placing
	for _, v := range d.Views {
		if v.Decisions.LeaveOut {
			out = append(out, v)
			continue
		}
		in = append(in, v)
		places = append(places, deliver.Placing{Room: v.Room, Place: v.Order})
	}
	var all []shoot.View
	for _, i := range deliver.Arrange(places) {
		all = append(all, in[i])
	}
	return append(all, out...)
}

func (h *house) walk() (walkData, error) {
	p := walkData{Title: title(h.dir), History: h.history()}
	d, err := h.doc()
	if err != nil {
		return p, err
	}
	state, found := h.checking.look()
	p.Checking, p.Card = state.Words(), found.card()
	_, aside := finish.Gallery(d)
	n := 0
	for _, v := range inOrder(d) {
		one := h.viewData(d, v)
		one.Aside = slices.Contains(aside, v.ID)
		if v.Decisions.LeaveOut {
			p.Out = append(p.Out, one)
			continue
		}
		n++
		one.Place = n
		if k := len(p.Rooms); k > 0 && p.Rooms[k-1].Name == v.Room {
			p.Rooms[k-1].Views = append(p.Rooms[k-1].Views, one)
			continue
		}
		one.Alike = false // a stack does not reach over a room's threshold
		p.Rooms = append(p.Rooms, roomData{v.Room, []viewData{one}})
	}
	return p, nil
}

func (h *house) viewData(d *shoot.Doc, v shoot.View) viewData {
	one := viewData{ID: v.ID, Key: finish.LookKey(v, d.Views), Room: v.Room, W: 3, H: 2}
	r, ok := finish.Account(h.dir, v)
	if !ok {
		return one
	}
	if len(r.Files) > 0 && r.Files[0].Width > 0 {
		one.W, one.H = r.Files[0].Width, r.Files[0].Height
	}
	_, found := h.checking.look()
	all := append(r.Findings[:len(r.Findings):len(r.Findings)], unsure(r, v.Decisions)...)
	for _, f := range together(all, found.says(v.ID), r, v.Decisions) {
		if f.Code == "near-duplicate" {
			one.Alike = true
		}
		if f.Severity == finding.Note {
			continue
		}
		one.Findings = append(one.Findings, f.Message)
		if one.Mark == "" || f.Severity == finding.Reshoot {
			one.Mark = string(f.Severity)
		}
	}
	return one
}

// Sum says in one sentence how the house stands.
func (p walkData) Sum() string {
	views, marks, rooms := 0, 0, map[string]bool{}
	for _, r := range p.Rooms {
		rooms[r.Name] = true
		for _, v := range r.Views {
			views++
			if v.Mark != "" {
				marks++
			}
		}
	}
	out := count(views, "view") + " in " + count(len(rooms), "room") + ". "
	if len(rooms) == 1 && rooms[""] {
		out = count(views, "view") + "; no room has a name yet. "
	}
	switch marks {
	case 0:
		return out + "None asks for a look."
	case 1:
		return out + "One asks for a look."
	}
	return out + fmt.Sprintf("%d ask for a look.", marks)
}

// Label names a room for those who don't see the page.
func (r roomData) Label() string {
	if r.Name == "" {
		return "A room without a name"
	}
	return r.Name
}

// Alt is what a picture is called.
func (v viewData) Alt() string {
	_, alt := deliver.Describe(v.Room, max(1, v.Place), 1, 1)
	return alt
}

// Called names a view in a button's label.
func (v viewData) Called() string {
	if v.Room == "" {
		return v.ID
	}
	return v.ID + ", " + v.Room
}

// MarkLabel and MarkSign stand for the findings until they are read.
func (v viewData) MarkLabel() string {
	if v.Mark == string(finding.Reshoot) {
		return "Shoot this view again"
	}
	return "Look at this view"
}

// MarkSign is the small sign of the mark.
func (v viewData) MarkSign() string {
	if v.Mark == string(finding.Reshoot) {
		return "again"
	}
	return "look"
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (s *Server) walk(w http.ResponseWriter, r *http.Request) {
	p, err := s.here().walk()
	if err != nil {
		refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	s.show(w, r, walkPage(p))
}

func (s *Server) walkPart(w http.ResponseWriter, r *http.Request) {
	h := s.here()
	if h == nil {
		refuse(w, http.StatusNotFound, errNoShoot.why)
		return
	}
	p, err := h.walk()
	if err != nil {
		refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	s.show(w, r, walkBody(p))
}

// placed is a view's place in a new arrangement.
type placed struct {
	ID   string `json:"id"`
	Room string `json:"room"`
	Out  bool   `json:"out"`
}

// arrange puts all views into a new order, into rooms, and in or out.
func (s *Server) arrange(w http.ResponseWriter, r *http.Request) error {
	h := s.here()
	if h == nil {
		return errNoShoot
	}
	var q struct {
		Rev   int      `json:"rev"`
		What  string   `json:"what"`
		Views []placed `json:"views"`
	}
	if err := take(r, &q); err != nil {
		return err
	}
	err := h.change(r.Context(), q.Rev, clip(q.What, 80), func(d *shoot.Doc) error { return rearrange(d, q.Views) })
	if err != nil {
		return err
	}
	give(w, h.history())
	return nil
}

func rearrange(d *shoot.Doc, views []placed) error {
	if len(views) != len(d.Views) {
		return errStale
	}
	seen := map[string]bool{}
	for i, p := range views {
		v := d.View(p.ID)
		if v == nil || seen[p.ID] {
			return errNoView
		}
		seen[p.ID] = true
		v.Order = i + 1
		v.Room = clip(strings.Join(strings.Fields(p.Room), " "), 60)
		v.Decisions.LeaveOut = p.Out
	}
	return nil
}

// clip shortens a text to n characters.
func clip(s string, n int) string {
	r := []rune(s)
	if len(r) > n {
		r = r[:n]
	}
	return string(r)
}

func (s *Server) undo(w http.ResponseWriter, r *http.Request) error {
	return s.turn(w, r, (*house).undo)
}

func (s *Server) redo(w http.ResponseWriter, r *http.Request) error {
	return s.turn(w, r, (*house).redo)
}

func (s *Server) turn(w http.ResponseWriter, r *http.Request, fn func(*house, context.Context) error) error {
	h := s.here()
	if h == nil {
		return errNoShoot
	}
	if err := fn(h, r.Context()); err != nil {
		return err
	}
	give(w, h.history())
	return nil
}
