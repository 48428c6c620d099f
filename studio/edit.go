package studio

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"mullion/finish"
	"mullion/internal/raster"
	"mullion/record"
	"mullion/removal"
	"mullion/shoot"
)

func (s *Server) editRoutes(m *http.ServeMux) {
	m.HandleFunc("POST /edit/{view}", answer(s.edit))
	m.HandleFunc("POST /unedit/{view}", answer(s.unedit))
}

// kinds are what may be taken out and what may be softened.
func kinds() (remove, soften []kind) {
	list := func(a record.Action) (out []kind) {
		for _, k := range record.Kinds(a) {
			words := k.Words
			if words == "" {
				words = "something else"
			}
			out = append(out, kind{k.Name, words})
		}
		return out
	}
	return list(record.Remove), list(record.Soften)
}

// painted is a place a person painted: a stroke of a round brush along points, or a
// box. All measures are shares of the picture's width, and of its height downwards.
type painted struct {
	Action string       `json:"action"` // "remove" or "soften"
	Kind   string       `json:"kind"`
	Words  string       `json:"words"`
	Points [][2]float64 `json:"points"`
	Width  float64      `json:"width"` // of the brush, in widths of the picture
	Box    *[4]float64  `json:"box"`   // x, y, width, height
}

const maxPoints = 4000

func (q painted) check() error {
	bad := func(why string) error { return fault{http.StatusBadRequest, why} }
	if q.Action != string(record.Remove) && q.Action != string(record.Soften) {
		return bad("this can only be taken out or softened")
	}
	if len(q.Points) > maxPoints {
		return bad("this line is too long; paint it in two")
	}
	for _, p := range q.Points {
		if !inside(p[0], p[1]) {
			return bad("the line leaves the picture")
		}
	}
	if len(q.Points) > 0 && !(q.Width >= 0.001 && q.Width <= 0.25) {
		return bad("the brush may be up to a quarter of the picture wide")
	}
	if b := q.Box; b != nil && (!inside(b[0], b[1]) || !inside(b[0]+b[2], b[1]+b[3]) || b[2] <= 0 || b[3] <= 0) {
		return bad("the box leaves the picture")
	}
	if len(q.Points) == 0 && q.Box == nil {
		return bad("nothing is painted")
	}
	return nil
}

// edit enters a removal or a softening. What it is and whether it may go is decided by
// package record.
func (s *Server) edit(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	var q painted
	if err := take(r, &q); err != nil {
		return err
	}
	if err := q.check(); err != nil {
		return err
	}
	what, err := record.Check(record.Action(q.Action), q.Kind, q.Words)
	if err != nil {
		return fault{http.StatusUnprocessableEntity, err.Error()}
	}
	e := shoot.Edit{Action: q.Action, Kind: q.Kind, What: what, At: time.Now().UTC().Truncate(time.Second), Version: s.opt.Version}
	if err := s.carry(r, h, v, q, &e); err != nil {
		return err
	}
	// It is made before it is kept, so that what can't be filled is never entered.
	trial := v
	e.ID = v.LastEdit + 1
	trial.Edits = append(v.Edits[:len(v.Edits):len(v.Edits)], e)
	if _, err := s.seen.make(r.Context(), h, trial); err != nil {
		return fault{http.StatusUnprocessableEntity, err.Error()}
	}
	verb := "took out "
	if q.Action == string(record.Soften) {
		verb = "softened "
	}
	return s.changed(w, r, h, v.ID, verb+what, func(v *shoot.View) {
		v.LastEdit++
		e.ID = v.LastEdit
		v.Edits = append(v.Edits, e)
	})
}

// carry takes what was painted to the upright frame of the view, where a later change
// of plumb or crop leaves it in its place.
func (s *Server) carry(r *http.Request, h *house, v shoot.View, q painted, e *shoot.Edit) error {
	at := q.Points
	if b := q.Box; b != nil {
		at = [][2]float64{{b[0], b[1]}, {b[0] + b[2], b[1]}, {b[0] + b[2], b[1] + b[3]}, {b[0], b[1] + b[3]}}
	}
	places, frame, scale, err := h.previews.Places(r.Context(), v, at)
	if err != nil {
		return err
	}
	e.Frame = frame
	if q.Box != nil {
		e.Boxes = []string{boxAround(places, frame)}
	} else {
		stroke := removal.Stroke{Points: places, Width: max(2, cut(q.Width*scale, 1))}
		for i := range stroke.Points {
			stroke.Points[i] = [2]float64{cut(places[i][0], 1), cut(places[i][1], 1)}
		}
		e.Strokes = []string{stroke.String()}
	}
	mask, err := finish.Paint(*e, func(string) string { return "" })
	if err != nil {
		return fault{http.StatusBadRequest, err.Error()}
	}
	raster.Put(mask)
	return nil
}

// boxAround is the upright box that holds the four corners.
func boxAround(p [][2]float64, frame [2]int) string {
	x0, y0, x1, y1 := p[0][0], p[0][1], p[0][0], p[0][1]
	for _, c := range p {
		x0, y0, x1, y1 = min(x0, c[0]), min(y0, c[1]), max(x1, c[0]), max(y1, c[1])
	}
	x0, y0 = max(0, x0), max(0, y0)
	x1, y1 = min(float64(frame[0]), x1), min(float64(frame[1]), y1)
	return fmt.Sprintf("%.1f,%.1f %.1fx%.1f", x0, y0, max(1, x1-x0), max(1, y1-y0))
}

// unedit takes one edit back. Undo brings it again.
func (s *Server) unedit(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	var q struct {
		ID int `json:"id"`
	}
	if err := take(r, &q); err != nil {
		return err
	}
	what := ""
	for _, e := range v.Edits {
		if e.ID == q.ID {
			what = "put back " + strings.TrimPrefix(e.What, "a ")
		}
	}
	if what == "" {
		return fault{http.StatusNotFound, errors.New("there is no such change in this view").Error()}
	}
	return s.changed(w, r, h, v.ID, what, func(v *shoot.View) {
		kept := v.Edits[:0:0]
		for _, e := range v.Edits {
			if e.ID != q.ID {
				kept = append(kept, e)
			}
		}
		v.Edits = kept
	})
}
