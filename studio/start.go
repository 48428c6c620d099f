package studio

import (
	"net/http"
)

// startData is the page without a shoot.
type startData struct {
	Recent []recentShoot
}

func (s *Server) start(w http.ResponseWriter, r *http.Request) {
	s.show(w, r, startPage(startData{Recent: s.recent()}))
}

func (s *Server) startRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /start", s.start)
	m.HandleFunc("POST /enter", answer(s.open))
}

// open opens one of the shoots that were opened before, or another by its folder.
func (s *Server) open(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Dir string `json:"dir"`
	}
	if err := take(r, &q); err != nil {
		return err
	}
	if err := s.enter(q.Dir); err != nil {
		return fault{http.StatusBadRequest, err.Error()}
	}
	give(w, map[string]string{"to": "/"})
	return nil
}
