package studio

import (
	"context"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"mullion/deliver"
	"mullion/finish"
	"mullion/shoot"
)

func (s *Server) deliverRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /deliver", s.deliverPage)
	m.HandleFunc("GET /part/deliver", s.deliverPart)
	m.HandleFunc("POST /words/{view}", answer(s.words))
	m.HandleFunc("POST /pack", answer(s.pack))
	m.HandleFunc("POST /deliver", answer(s.deliver))
	m.HandleFunc("POST /send", answer(s.send))
	m.HandleFunc("POST /stop", answer(s.stopJob))
	m.HandleFunc("GET /job", answer(func(w http.ResponseWriter, _ *http.Request) error { give(w, s.job.look()); return nil }))
	m.HandleFunc("GET /gallery/{name}/{file...}", s.gallery)
}

// deliverData is the page of the delivery.
type deliverData struct {
	Title    string
	Pack     shoot.Pack
	Sheets   []sheetData
	Own      string // the file of the user's own sheet
	Pictures []pictureData
	Aside    []pictureData
	Made     []madeData
	History  history
	Error    string
}

type sheetData struct {
	Name, Title, Rules string
	Chosen             bool
	Warnings           []string
}

// pictureData is one line: a picture, its words, and its files as far as they are made.
type pictureData struct {
	viewData
	Caption, AltText string // the user's own
	CaptionElse      string // what stands there without
	AltElse          string
	Files            []string
	Unsaid           string // why it is not as made: changed since, or never made
}

// madeData is a delivery that is there.
type madeData struct {
	Name, Dir, Files string
	Branded          bool // with pages that name the photographer
}

// chosenSheets are those that were ticked, or those delivered before, or the usual one.
func chosenSheets(d *shoot.Doc) []string {
	if d.Pack != nil && len(d.Pack.Sheets) > 0 {
		return d.Pack.Sheets
	}
	var names []string
	for _, n := range deliver.Builtin() {
		if slices.ContainsFunc(d.Views, func(v shoot.View) bool { _, ok := v.Done[n]; return ok }) {
			names = append(names, n)
		}
	}
	if len(names) == 0 {
		names = []string{"listing"}
	}
	return names
}

// checkSheets refuses what can't be used as a delivery sheet.
func checkSheets(ctx context.Context, names []string) error {
	if len(names) == 0 {
		return fault{http.StatusBadRequest, "choose at least one delivery sheet"}
	}
	for _, n := range names {
		if !slices.Contains(deliver.Builtin(), n) && ownSheet([]string{n}) == "" {
			return fault{http.StatusBadRequest, fmt.Sprintf("there is no delivery sheet %q; one of your own is a file whose whole path, ending in .toml, is typed", n)}
		}
		if _, err := deliver.LoadSheet(ctx, n); err != nil {
			return fault{http.StatusBadRequest, err.Error()}
		}
	}
	return nil
}

// ownSheet is the first of the names that is a file of the user's own.
func ownSheet(names []string) string {
	for _, n := range names {
		if filepath.IsAbs(n) && filepath.Ext(n) == ".toml" {
			return n
		}
	}
	return ""
}

// deliveries are the names under which something may have been delivered: the sheets
// that are built in, and those of the user's own that a shoot remembers.
func deliveries(d *shoot.Doc) []string {
	names := deliver.Builtin()
	for _, v := range d.Views {
		for n := range v.Done {
			if !slices.Contains(names, n) && filepath.IsLocal(n) && filepath.Base(n) == n {
				names = append(names, n)
			}
		}
	}
	slices.Sort(names)
	return names
}

func (h *house) delivery(ctx context.Context) (deliverData, error) {
	p := deliverData{Title: title(h.dir), History: h.history()}
	d, err := h.doc()
	if err != nil {
		return p, err
	}
	if d.Pack != nil {
		p.Pack = *d.Pack
	}
	names := chosenSheets(d)
	warnings, err := finish.Foresee(ctx, h.dir, names)
	if err != nil {
		p.Error = err.Error()
	}
	offered := deliver.Builtin()
	if p.Own = ownSheet(names); p.Own != "" {
		offered = append(offered, p.Own)
	}
	for _, n := range offered {
		sheet, err := deliver.LoadSheet(ctx, n)
		if n == p.Own && err != nil {
			continue // Foresee has said it
		}
		if err != nil {
			return p, err
		}
		one := sheetData{Name: n, Title: sheet.Title, Rules: rules(sheet)}
		if i := slices.Index(names, n); i >= 0 {
			one.Chosen = true
			if i < len(warnings) {
				one.Warnings = warnings[i]
			}
		}
		if one.Title == "" {
			one.Title = sheet.Name
		}
		p.Sheets = append(p.Sheets, one)
	}
	for _, n := range deliveries(d) {
		if made, ok := h.made(d, n); ok {
			p.Made = append(p.Made, made)
		}
	}
	shown, aside := finish.Gallery(d)
	nth, of := map[string]int{}, map[string]int{}
	for _, id := range shown {
		of[d.View(id).Room]++
	}
	for i, id := range shown {
		v := d.View(id)
		nth[v.Room]++
		one := h.pictureData(d, *v, i+1)
		one.CaptionElse, one.AltElse = deliver.Describe(v.Room, i+1, nth[v.Room], of[v.Room])
		p.Pictures = append(p.Pictures, one)
	}
	for _, id := range aside {
		p.Aside = append(p.Aside, h.pictureData(d, *d.View(id), 0))
	}
	return p, nil
}

func (h *house) pictureData(d *shoot.Doc, v shoot.View, place int) pictureData {
	one := pictureData{viewData: h.viewData(d, v), Caption: v.Caption, AltText: v.Alt}
	one.Place = place
	for _, n := range slices.Sorted(maps.Keys(v.Done)) {
		done := v.Done[n]
		r, ok := finish.AccountOf(h.dir, done.Key)
		if !ok || len(r.Files) == 0 {
			continue
		}
		f := r.Files[0]
		one.Files = append(one.Files, fmt.Sprintf("%s: %d × %d, %s", n, f.Width, f.Height, size(f.Bytes)))
	}
	return one
}

// made tells of a delivery that is in the shoot.
func (h *house) made(d *shoot.Doc, name string) (madeData, bool) {
	dir := filepath.Join(h.dir, "deliveries", name)
	if _, err := os.Stat(filepath.Join(dir, "index.html")); err != nil {
		return madeData{}, false
	}
	n, bytes := 0, int64(0)
	for _, v := range d.Views {
		for _, o := range v.Done[name].Outputs {
			n++
			bytes += o.Size
		}
	}
	_, err := os.Stat(filepath.Join(dir, deliver.BrandedName))
	return madeData{name, dir, fmt.Sprintf("%s, %s", count(n, "picture file"), size(bytes)), err == nil}, true
}

func size(n int64) string {
	if n < 1e6 {
		return fmt.Sprintf("%d kB", (n+999)/1000)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

// rules says in a line what a sheet asks for.
func rules(s deliver.Sheet) string {
	var out []string
	switch p := s.Pixels; {
	case p.MaxWidth > 0 && p.MaxHeight > 0 && p.LongEdge > 0:
		out = append(out, fmt.Sprintf("%d pixels along the longer side, within %d × %d", p.LongEdge, p.MaxWidth, p.MaxHeight))
	case p.MaxWidth > 0 && p.MaxHeight > 0:
		out = append(out, fmt.Sprintf("within %d × %d pixels", p.MaxWidth, p.MaxHeight))
	case p.LongEdge > 0:
		out = append(out, fmt.Sprintf("%d pixels along the longer side", p.LongEdge))
	default:
		out = append(out, "all pixels")
	}
	if s.File.MaxBytes > 0 {
		out = append(out, "up to "+size(int64(s.File.MaxBytes))+" a file")
	}
	if s.Set.MaxCount > 0 {
		out = append(out, fmt.Sprintf("up to %d pictures", s.Set.MaxCount))
	}
	return strings.Join(out, ", ")
}

func (s *Server) deliverPage(w http.ResponseWriter, r *http.Request) { s.deliverShow(w, r, true) }
func (s *Server) deliverPart(w http.ResponseWriter, r *http.Request) { s.deliverShow(w, r, false) }

func (s *Server) deliverShow(w http.ResponseWriter, r *http.Request, whole bool) {
	h := s.here()
	if h == nil {
		http.Redirect(w, r, "/start", http.StatusSeeOther)
		return
	}
	p, err := h.delivery(r.Context())
	if err != nil {
		refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	if whole {
		s.show(w, r, deliverPage(p))
		return
	}
	s.show(w, r, deliverBody(p))
}

// words keeps a picture's caption and its text for those who don't see it.
func (s *Server) words(w http.ResponseWriter, r *http.Request) error {
	h, v, err := s.view(r)
	if err != nil {
		return err
	}
	var q struct{ Caption, Alt *string }
	if err := take(r, &q); err != nil {
		return err
	}
	return s.changed(w, r, h, v.ID, "words of "+v.ID, func(v *shoot.View) {
		if q.Caption != nil {
			v.Caption = clip(strings.Join(strings.Fields(*q.Caption), " "), 1000)
		}
		if q.Alt != nil {
			v.Alt = clip(strings.Join(strings.Fields(*q.Alt), " "), 250)
		}
	})
}

// pack keeps how the pictures are handed over.
func (s *Server) pack(w http.ResponseWriter, r *http.Request) error {
	h := s.here()
	if h == nil {
		return errNoShoot
	}
	var q struct {
		Count           *int
		Title, Subtitle *string
		Branded, Letter *bool
		Sheets          *[]string
	}
	if err := take(r, &q); err != nil {
		return err
	}
	if q.Count != nil && (*q.Count < 0 || *q.Count > 9999) {
		return fault{http.StatusBadRequest, "the package is a number of pictures from 0, which is all, to 9999"}
	}
	what := "the package"
	if q.Sheets != nil {
		if err := checkSheets(r.Context(), *q.Sheets); err != nil {
			return err
		}
		what = "who gets them"
	}
	err := h.change(r.Context(), 0, what, func(d *shoot.Doc) error {
		p := shoot.Pack{}
		if d.Pack != nil {
			p = *d.Pack
		}
		set(&p.Count, q.Count)
		set(&p.Title, q.Title)
		set(&p.Subtitle, q.Subtitle)
		set(&p.Branded, q.Branded)
		set(&p.Letter, q.Letter)
		set(&p.Sheets, q.Sheets)
		p.Title, p.Subtitle = clip(p.Title, 120), clip(p.Subtitle, 200)
		d.Pack = &p
		return nil
	})
	if err != nil {
		return err
	}
	give(w, h.history())
	return nil
}

func set[T any](to *T, from *T) {
	if from != nil {
		*to = *from
	}
}

// deliver begins to make the deliveries; what is there already is used.
func (s *Server) deliver(w http.ResponseWriter, r *http.Request) error {
	h := s.here()
	if h == nil {
		return errNoShoot
	}
	var q struct{ Sheets []string }
	if err := take(r, &q); err != nil {
		return err
	}
	if err := checkSheets(r.Context(), q.Sheets); err != nil {
		return err
	}
	err := s.begin("deliver", func(ctx context.Context, tell func(finish.Event)) (*finish.Report, string, error) {
		report, err := finish.Deliver(ctx, finish.Job{
			Shoot: h.dir, Sheets: q.Sheets, Who: s.opt.Who, Licence: s.opt.Licence, Version: s.opt.Version, Keys: s.opt.Keys, Report: tell,
		})
		return report, "/deliver", err
	})
	if err != nil {
		return err
	}
	give(w, s.job.look())
	return nil
}

func (s *Server) stopJob(w http.ResponseWriter, _ *http.Request) error {
	s.job.stop()
	give(w, s.job.look())
	return nil
}

// galleryPolicy lets a gallery's own page work, whose own policy names its script and
// style by their hashes; it can ask nothing of the studio.
const galleryPolicy = "default-src 'none'; img-src 'self'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; " +
	"connect-src 'none'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"

var galleryTypes = map[string]string{
	".html": "text/html; charset=utf-8", ".jpg": "image/jpeg",
	".webp": "image/webp", ".avif": "image/avif", ".pdf": "application/pdf", ".json": "application/json",
	".zip": "application/zip", ".txt": "text/plain; charset=utf-8",
}

// gallery shows a finished delivery. Nothing outside its folder can be reached, by
// links neither (os.Root).
func (s *Server) gallery(w http.ResponseWriter, r *http.Request) {
	h := s.here()
	name, file := r.PathValue("name"), r.PathValue("file")
	kind, ok := galleryTypes[path.Ext(file)]
	if h == nil || !ok || !fs.ValidPath(file) {
		http.NotFound(w, r)
		return
	}
	d, err := h.doc()
	if err != nil || !slices.Contains(deliveries(d), name) {
		http.NotFound(w, r)
		return
	}
	root, err := os.OpenRoot(filepath.Join(h.dir, "deliveries", name))
	if err != nil {
		http.NotFound(w, r)
		return
	}
	defer root.Close()
	f, err := root.Open(filepath.FromSlash(file))
	if err != nil {
		http.NotFound(w, r)
		return
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Security-Policy", galleryPolicy)
	http.ServeContent(w, r, file, info.ModTime(), f)
}

// Sum says how many pictures go out.
func (p deliverData) Sum() string {
	out := count(len(p.Pictures), "picture")
	if n := len(p.Aside); n > 0 {
		out += fmt.Sprintf(", %d set aside", n)
	}
	return out + "."
}
