package studio

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"sync"

	"mullion/deliver"
	"mullion/finish"
	"mullion/internal/raster"
	"mullion/shoot"
)

func (s *Server) pictureRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /thumb/{view}", answer(s.thumb))
	m.HandleFunc("GET /live/{view}", answer(s.live))
	m.HandleFunc("GET /exposure/{view}/{n}", answer(s.exposure))
	m.HandleFunc("GET /tile/{view}/{column}/{row}", answer(s.tile))
}

// view finds the view a request names.
func (s *Server) view(r *http.Request) (*house, shoot.View, error) {
	h := s.here()
	if h == nil {
		return nil, shoot.View{}, errNoShoot
	}
	d, err := h.doc()
	if err != nil {
		return nil, shoot.View{}, err
	}
	v := d.View(r.PathValue("view"))
	if v == nil {
		return nil, shoot.View{}, errNoView
	}
	return h, *v, nil
}

// picture sends a JPEG file. Its address names its contents, so it may be kept.
func picture(w http.ResponseWriter, b []byte) error {
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	w.Header().Set("Content-Length", strconv.Itoa(len(b)))
	_, err := w.Write(b)
	return err
}

// turns lets one picture be made at a time for those who can wait: every station uses
// all cores by itself.
var turns = make(chan struct{}, 1)

func patiently(ctx context.Context, fn func() ([]byte, error)) ([]byte, error) {
	select {
	case turns <- struct{}{}:
		defer func() { <-turns }()
		return fn()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (s *Server) thumb(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	b := h.previews.Cached(v)
	if b == nil {
		b, err = patiently(r.Context(), func() ([]byte, error) { return h.previews.Thumb(r.Context(), v) })
	}
	if err != nil {
		return err
	}
	return picture(w, b)
}

func (s *Server) exposure(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil {
		return errNoView
	}
	b, err := patiently(r.Context(), func() ([]byte, error) { return h.previews.Exposure(r.Context(), v, n) })
	if err != nil {
		return err
	}
	return picture(w, b)
}

// live sends the picture of a view at [finish.PreviewEdge], by the decisions of the
// shoot or by those in the query, which are tried and not kept.
func (s *Server) live(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	if err := tried(&v, r.URL.Query()); err != nil {
		return err
	}
	if r.URL.Query().Has("draft") {
		return s.draft(w, r, h, v)
	}
	l, err := s.seen.make(r.Context(), h, v)
	if err != nil {
		return err
	}
	return picture(w, l.jpeg)
}

// draft sends a smaller picture at once; the page asks for it while a hand is moving.
func (s *Server) draft(w http.ResponseWriter, r *http.Request, h *house, v shoot.View) error {
	rgb, err := h.previews.Draft(r.Context(), v)
	if err != nil {
		return err
	}
	defer raster.PutRGB(rgb)
	b, err := deliver.Screen(r.Context(), rgb, 2, 85)
	if err != nil {
		return err
	}
	return picture(w, b)
}

// tried puts the decisions of a query into a view.
func tried(v *shoot.View, q url.Values) error {
	d := copyOf(v.Decisions)
	for name, to := range map[string]**float64{"room_ev": &d.RoomEV, "window_ev": &d.WindowEV} {
		if err := number(q, name, 8, to); err != nil {
			return err
		}
	}
	for name, to := range map[string]**shoot.Warmth{"room": &d.RoomWarmth, "window": &d.WindowWarmth} {
		var mired, duv *float64
		if err := number(q, name+"_mired", 400, &mired); err != nil {
			return err
		}
		if err := number(q, name+"_duv", 0.05, &duv); err != nil {
			return err
		}
		if mired == nil && duv == nil {
			continue
		}
		if *to == nil {
			*to = &shoot.Warmth{}
		}
		if mired != nil {
			(*to).Mired = *mired
		}
		if duv != nil {
			(*to).Duv = *duv
		}
	}
	if err := triedLevel(&d, q); err != nil {
		return err
	}
	v.Decisions = d
	if q.Has("unaltered") {
		v.Edits = nil
	}
	return nil
}

// triedLevel takes a level from a query: pitch, roll and yaw in degrees.
func triedLevel(d *shoot.Decisions, q url.Values) error {
	var pitch, roll, yaw *float64
	for name, to := range map[string]**float64{"pitch": &pitch, "roll": &roll, "yaw": &yaw} {
		if err := number(q, name, mostTilt, to); err != nil {
			return err
		}
	}
	if pitch == nil && roll == nil && yaw == nil {
		return nil
	}
	d.Level = &shoot.Level{PitchDeg: value(pitch), RollDeg: value(roll), YawDeg: value(yaw)}
	return nil
}

// mostTilt is the most of pitch, roll and yaw, in degrees, that can be set by hand; more
// than half of it is a camera that was turned on purpose.
const mostTilt = 45

func value(x *float64) float64 {
	if x == nil {
		return 0
	}
	return *x
}

// number reads a number of a query, within plus or minus limit.
func number(q url.Values, name string, limit float64, to **float64) error {
	if !q.Has(name) {
		return nil
	}
	x, err := strconv.ParseFloat(q.Get(name), 64)
	if err != nil || !(x >= -limit && x <= limit) {
		return fault{http.StatusBadRequest, fmt.Sprintf("%s must be a number from %g to %g", name, -limit, limit)}
	}
	*to = &x
	return nil
}

// look is a live picture that was made, as it is sent, with what is said about it.
type look struct {
	key    string
	jpeg   []byte
	facts  facts
	report finish.ViewReport
}

// seen keeps the last pictures, so that a page that asks for the facts and for the
// picture has it made once.
type seen struct {
	later func(func()) // does something when the answer is given

	mu   sync.Mutex
	last []*look
}

const seenMax = 24

func (s *seen) find(key string) *look {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, l := range s.last {
		if l.key == key {
			return l
		}
	}
	return nil
}

func (s *seen) add(l *look) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last = append(s.last, l)
	if len(s.last) > seenMax {
		s.last = s.last[1:]
	}
}

// make has the live picture of a view.
func (s *seen) make(ctx context.Context, h *house, v shoot.View) (*look, error) {
	d, err := h.doc()
	if err != nil {
		return nil, err
	}
	key := v.ID + finish.LookKey(v, d.Views)
	if l := s.find(key); l != nil {
		return l, nil
	}
	p, err := h.previews.Make(ctx, v)
	if err != nil {
		return nil, err
	}
	b, err := deliver.Screen(ctx, p.RGB, float64(p.W)/float64(p.RGB.W()), 88)
	if err != nil {
		raster.PutRGB(p.RGB)
		return nil, err
	}
	l := &look{key: key, jpeg: b, facts: factsOf(p, v, d.Views), report: p.Report}
	raster.Put(p.Glass)
	s.add(l)
	s.later(func() { // nobody waits for the small picture
		h.previews.KeepThumb(context.WithoutCancel(ctx), v, p.RGB)
		raster.PutRGB(p.RGB)
	})
	return l, nil
}
