package studio

import (
	"context"
	"html"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mullion/card/disk"
	"mullion/shoot"
)

// Everything about the walk can be taken back and made again, over a restart too.
func TestUndoEverything(t *testing.T) {
	dir := house1(t)
	first := order(t, dir)
	v := visit(t, running(t, Options{Shoot: dir}))
	arrange := func(what string, views ...placed) {
		v.must("/arrange", map[string]any{"what": what, "views": views})
	}
	arrange("moved", placed{"view-02", "Guest room", false}, placed{"view-01", "Bathroom", false}, placed{"view-03", "Dining room", false})
	arrange("named", placed{"view-02", "Main  bedroom ", false}, placed{"view-01", "Bathroom", false}, placed{"view-03", "Dining room", false})
	arrange("left out", placed{"view-02", "Main bedroom", false}, placed{"view-03", "Dining room", false}, placed{"view-01", "Bathroom", true})
	if got := order(t, dir); got != "02 03 -01" {
		t.Fatalf("the order is %s", got)
	}
	if room := read(t, dir).View("view-02").Room; room != "Main bedroom" {
		t.Errorf("the room is %q", room)
	}
	v = visit(t, running(t, Options{Shoot: dir})) // another run of the studio
	for range 3 {
		v.must("/undo", struct{}{})
	}
	v.must("/undo", struct{}{}) // one too many does nothing
	if got := order(t, dir); got != first {
		t.Errorf("after undoing all the order is %s", got)
	}
	if room := read(t, dir).View("view-02").Room; room != "Guest room" {
		t.Errorf("the room is %q", room)
	}
	for range 3 {
		v.must("/redo", struct{}{})
	}
	if got := order(t, dir); got != "02 03 -01" {
		t.Errorf("after doing all again the order is %s", got)
	}
}

// A page that shows an older state can't overwrite a newer one.
func TestStalePage(t *testing.T) {
	dir := house1(t)
	v := visit(t, running(t, Options{Shoot: dir}))
	views := []placed{{"view-03", "", false}, {"view-02", "", false}, {"view-01", "", false}}
	v.must("/arrange", map[string]any{"rev": 1, "what": "a", "views": views})
	views[0], views[2] = views[2], views[0]
	status, answer := v.post("/arrange", map[string]any{"rev": 1, "what": "b", "views": views})
	if status != http.StatusConflict || !strings.Contains(answer, "another window") {
		t.Errorf("it is answered %d %s", status, answer)
	}
	if got := order(t, dir); got != "03 02 01" {
		t.Errorf("the order is %s", got)
	}
	short := map[string]any{"what": "c", "views": views[:2]}
	if status, _ := v.post("/arrange", short); status != http.StatusConflict {
		t.Errorf("an arrangement that lacks a view is answered %d", status)
	}
}

// What was changed elsewhere since is not overwritten by undo.
func TestUndoElsewhere(t *testing.T) {
	dir := house1(t)
	v := visit(t, running(t, Options{Shoot: dir}))
	v.must("/arrange", map[string]any{"what": "a", "views": []placed{{"view-03", "x", false}, {"view-02", "", false}, {"view-01", "", false}}})
	s, err := shoot.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	err = s.Update(t.Context(), func(d *shoot.Doc) error { d.View("view-03").Room = "Library"; return nil })
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	if status, answer := v.post("/undo", struct{}{}); status != http.StatusConflict {
		t.Errorf("it is answered %d %s", status, answer)
	}
	if room := read(t, dir).View("view-03").Room; room != "Library" {
		t.Errorf("the room is %q", room)
	}
}

// While a run has the shoot, a change is refused with a reason and nothing is lost.
func TestBusy(t *testing.T) {
	dir := house1(t)
	v := visit(t, running(t, Options{Shoot: dir}))
	s, err := shoot.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	change := map[string]any{"what": "a", "views": []placed{{"view-03", "", false}, {"view-02", "", false}, {"view-01", "", false}}}
	if status, answer := v.post("/arrange", change); status != http.StatusConflict || !strings.Contains(answer, "run") {
		t.Errorf("it is answered %d %s", status, answer)
	}
	s.Close()
	v.must("/arrange", change)
}

// A journal that is damaged, or one step ahead of the shoot because the machine stopped
// between the two writes, does no harm.
func TestJournalAhead(t *testing.T) {
	dir := house1(t)
	h, err := openHouse(dir, func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(filepath.Join(dir, shoot.FileName))
	if err != nil {
		t.Fatal(err)
	}
	if err := h.change(t.Context(), 0, "a", func(d *shoot.Doc) error { d.View("view-01").Room = "Attic"; return nil }); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, shoot.FileName), before, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := h.undo(context.Background()); err != errElsewhere {
		t.Errorf("undoing what never was gives %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, journalName), []byte(`{"done":7}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := h.change(t.Context(), 0, "b", func(d *shoot.Doc) error { d.View("view-01").Room = "Attic"; return nil }); err != nil {
		t.Fatal(err)
	}
	if err := h.undo(t.Context()); err != nil || read(t, dir).View("view-01").Room != "Bathroom" {
		t.Errorf("undo after a damaged journal: %v", err)
	}
}

// The page has every picture, its room and what is found about it.
func TestWalkPage(t *testing.T) {
	dir := house1(t)
	v := visit(t, running(t, Options{Shoot: dir}))
	_, _, page := v.get("/")
	for _, want := range []string{"3 views in 3 rooms", `value="Guest room"`, `data-view="view-03"`, `alt="` + html.EscapeString(viewData{Room: "Bathroom", Place: 1}.Alt())} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	if status, h, b := v.get("/thumb/view-02"); status != http.StatusOK || h.Get("Content-Type") != "image/jpeg" || len(b) < 5000 {
		t.Errorf("the small picture is answered %d, %d bytes", status, len(b))
	}
	if status, _, _ := v.get("/thumb/view-99"); status != http.StatusNotFound {
		t.Errorf("a view that isn't there is answered %d", status)
	}
	if _, err := disk.OS.Stat(filepath.Join(dir, journalName)); err == nil {
		t.Error("looking has written a journal")
	}
}
