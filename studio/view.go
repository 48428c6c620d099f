package studio

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"

	"mullion/finish"
	"mullion/shoot"
)

func (s *Server) viewRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /view/{view}", s.viewPage)
	m.HandleFunc("GET /facts/{view}", answer(s.facts))
	m.HandleFunc("POST /decide/{view}", answer(s.decide))
	m.HandleFunc("POST /white/{view}", answer(s.white))
	m.HandleFunc("POST /upright/{view}", answer(s.upright))
	m.HandleFunc("POST /spread/{view}", answer(s.spread))
}

// viewPageData is the page of a view before its facts are there.
type viewPageData struct {
	placing
	Key            string // names what it looks like
	Remove, Soften []kind
	History        history
}

// placing is where a view stands in the walk.
type placing struct {
	Room, ID     string
	Place, Total int
	Out          bool
	Before, Next string // IDs, empty at the ends
}

type kind struct{ Name, Words string }

func (s *Server) viewPage(w http.ResponseWriter, r *http.Request) {
	h, v, err := s.view(r)
	if err != nil {
		refuse(w, http.StatusNotFound, err.Error())
		return
	}
	d, err := h.doc()
	if err != nil {
		refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	p := viewPageData{placing: standing(d, v), Key: finish.LookKey(v, d.Views), History: h.history()}
	p.Remove, p.Soften = kinds()
	s.show(w, r, viewPage(p))
}

// standing says where a view stands in the walk.
func standing(d *shoot.Doc, v shoot.View) placing {
	p := placing{Room: v.Room, ID: v.ID, Out: v.Decisions.LeaveOut}
	views := slices.DeleteFunc(inOrder(d), func(o shoot.View) bool { return o.Decisions.LeaveOut && o.ID != v.ID })
	p.Total = len(views)
	for i, o := range views {
		if o.ID != v.ID {
			continue
		}
		p.Place = i + 1
		if i > 0 {
			p.Before = views[i-1].ID
		}
		if i+1 < len(views) {
			p.Next = views[i+1].ID
		}
	}
	return p
}

// Where says which picture of the walk this is.
func (p placing) Where() string {
	if p.Out {
		return "left out"
	}
	return fmt.Sprintf("picture %d of %d", p.Place, p.Total)
}

// Name is the heading.
func (p placing) Name() string {
	if p.Room == "" {
		return p.ID
	}
	return p.Room
}

// whole is what the page of a view asks for after every change.
type whole struct {
	facts
	Checking string        `json:"checking"` // how far the check of the frames is; empty when it is through
	Standing standingWords `json:"standing"`
	History  history       `json:"history"`
}

// standingWords is what the head of the page says of the view.
type standingWords struct{ Name, Where, Before, Next, OutWords string }

func (s *Server) facts(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	l, err := s.seen.make(r.Context(), h, v)
	if err != nil {
		return err
	}
	d, err := h.doc()
	if err != nil {
		return err
	}
	last, _ := finish.Account(h.dir, v)
	f, at := l.facts, standing(d, v)
	state, found := h.checking.look()
	f.Findings = pageSays(&f, l.report, last.Findings, found.says(v.ID), v)
	give(w, whole{f, state.Words(), standingWords{at.Name(), at.Where(), at.Before, at.Next, outWords(at.Out)}, h.history()})
	return nil
}

// decision is a change of what was decided about a view. What is absent stays.
type decision struct {
	RoomEV      *float64 `json:"room_ev"`
	WindowEV    *float64 `json:"window_ev"`
	RoomMired   *float64 `json:"room_mired"`
	WindowMired *float64 `json:"window_mired"`
	RoomDuv     *float64 `json:"room_duv"`
	WindowDuv   *float64 `json:"window_duv"`
	Out         *bool    `json:"out"`
	Room        *string  `json:"room"`
	Level       *level   `json:"level"`
	// Measured takes parts back to what was measured: "room", "window", "level".
	Measured []string `json:"measured"`
	What     string   `json:"what"` // for the undo button
}

// level is how the camera is taken to have been held, in degrees.
type level struct {
	Pitch float64 `json:"pitch"`
	Roll  float64 `json:"roll"`
	Yaw   float64 `json:"yaw"`
}

func (q decision) check() error {
	if l := q.Level; l != nil {
		for _, x := range [3]float64{l.Pitch, l.Roll, l.Yaw} {
			if !(math.Abs(x) <= mostTilt) {
				return fault{http.StatusBadRequest, fmt.Sprintf("pitch, roll and yaw go from %d to %d degrees", -mostTilt, mostTilt)}
			}
		}
	}
	for _, c := range []struct {
		v     *float64
		limit float64
		name  string
	}{
		{q.RoomEV, 8, "room light"}, {q.WindowEV, 8, "window light"}, {q.RoomMired, 400, "warmth"}, {q.WindowMired, 400, "warmth"},
		{q.RoomDuv, .05, "tint"}, {q.WindowDuv, .05, "tint"},
	} {
		if c.v != nil && !(*c.v >= -c.limit && *c.v <= c.limit) {
			return fault{http.StatusBadRequest, fmt.Sprintf("%s goes from %g to %g", c.name, -c.limit, c.limit)}
		}
	}
	return nil
}

func (q decision) apply(v *shoot.View) {
	d := &v.Decisions
	for _, m := range q.Measured {
		switch m {
		case "room":
			d.RoomEV, d.RoomWarmth = nil, nil
		case "window":
			d.WindowEV, d.WindowWarmth = nil, nil
		case "level":
			d.Level = nil
		}
	}
	if l := q.Level; l != nil {
		d.Level = &shoot.Level{PitchDeg: cut(l.Pitch, 3), RollDeg: cut(l.Roll, 3), YawDeg: cut(l.Yaw, 3)}
	}
	d.RoomEV, d.WindowEV = ev(d.RoomEV, q.RoomEV), ev(d.WindowEV, q.WindowEV)
	d.RoomWarmth = warmth(d.RoomWarmth, q.RoomMired, q.RoomDuv)
	d.WindowWarmth = warmth(d.WindowWarmth, q.WindowMired, q.WindowDuv)
	if q.Out != nil {
		d.LeaveOut = *q.Out
	}
	if q.Room != nil {
		v.Room = clip(*q.Room, 60)
	}
}

// ev is a decision in hundredths of an EV; zero is none.
func ev(was, now *float64) *float64 {
	if now == nil {
		return was
	}
	x := cut(*now, 2)
	if x == 0 {
		return nil
	}
	return &x
}

func warmth(was *shoot.Warmth, mired, duv *float64) *shoot.Warmth {
	w := shoot.Warmth{}
	if was != nil {
		w = *was
	}
	if mired != nil {
		w.Mired = cut(*mired, 2)
	}
	if duv != nil {
		w.Duv = cut(*duv, 5)
	}
	if w.Mired == 0 && w.Duv == 0 && len(w.Extra) == 0 {
		return nil
	}
	return &w
}

func (s *Server) decide(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	var q decision
	if err := take(r, &q); err != nil {
		return err
	}
	if err := q.check(); err != nil {
		return err
	}
	return s.changed(w, r, h, v.ID, clip(q.What, 80), q.apply)
}

// changed changes one view and answers with the new history.
func (s *Server) changed(w http.ResponseWriter, r *http.Request, h *house, id, what string, fn func(*shoot.View)) error {
	err := h.change(r.Context(), 0, what, func(d *shoot.Doc) error {
		v := d.View(id)
		if v == nil {
			return errNoView
		}
		fn(v)
		return nil
	})
	if err != nil {
		return err
	}
	give(w, h.history())
	return nil
}

// white takes a place for white.
func (s *Server) white(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	var q struct{ X, Y float64 }
	if err := take(r, &q); err != nil {
		return err
	}
	if !inside(q.X, q.Y) {
		return fault{http.StatusBadRequest, "this place is outside the picture"}
	}
	warm, glass, ok, err := h.previews.White(r.Context(), v, q.X, q.Y)
	if err != nil {
		return err
	}
	if !ok {
		return fault{http.StatusUnprocessableEntity, "this place is too dark or too colourful to be a white; point at a wall, a ceiling or a white frame"}
	}
	what := "white of the room"
	if glass {
		what = "white of the window"
	}
	return s.changed(w, r, h, v.ID, what, func(v *shoot.View) {
		to := &v.Decisions.RoomWarmth
		if glass {
			to = &v.Decisions.WindowWarmth
		}
		*to = warmth(*to, &warm.Mired, &warm.Duv)
	})
}

func inside(x, y float64) bool { return x >= 0 && x <= 1 && y >= 0 && y <= 1 }

// upright takes drawn lines for verticals.
func (s *Server) upright(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	var q struct {
		Lines [][4]float64 `json:"lines"`
	}
	if err := take(r, &q); err != nil {
		return err
	}
	if len(q.Lines) == 0 || len(q.Lines) > 12 {
		return fault{http.StatusBadRequest, "draw one to twelve lines"}
	}
	for _, l := range q.Lines {
		if !inside(l[0], l[1]) || !inside(l[2], l[3]) {
			return fault{http.StatusBadRequest, "a line leaves the picture"}
		}
	}
	level, err := h.previews.Upright(r.Context(), v, q.Lines)
	if err != nil {
		return fault{http.StatusUnprocessableEntity, err.Error()}
	}
	return s.changed(w, r, h, v.ID, "upright lines", func(v *shoot.View) { v.Decisions.Level = &level })
}

// spread gives the lights of a view to the other views of its room, or of the house.
func (s *Server) spread(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	var q struct {
		To string `json:"to"` // "room" or "house"
	}
	if err := take(r, &q); err != nil {
		return err
	}
	if q.To != "room" && q.To != "house" {
		return fault{http.StatusBadRequest, "lights go to the room or to the house"}
	}
	n, err := h.spread(r.Context(), v, q.To == "room")
	if err != nil {
		return err
	}
	give(w, map[string]any{"views": n})
	return nil
}

func (h *house) spread(ctx context.Context, from shoot.View, roomOnly bool) (n int, err error) {
	what := "lights of " + from.ID + " to the house"
	if roomOnly {
		what = "lights of " + from.ID + " to its room"
	}
	err = h.change(ctx, 0, what, func(d *shoot.Doc) error {
		for i := range d.Views {
			v := &d.Views[i]
			if v.ID == from.ID || roomOnly && v.Room != from.Room {
				continue
			}
			src := copyOf(from.Decisions)
			v.Decisions.RoomEV, v.Decisions.WindowEV = src.RoomEV, src.WindowEV
			v.Decisions.RoomWarmth, v.Decisions.WindowWarmth = src.RoomWarmth, src.WindowWarmth
			n++
		}
		return nil
	})
	return n, err
}

func outWords(out bool) string {
	if out {
		return "Bring back"
	}
	return "Leave out"
}
