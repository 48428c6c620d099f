package studio

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	cd "github.com/chromedp/chromedp"

	"mullion/check"
	"mullion/demo"
	"mullion/finding"
	"mullion/finish"
	"mullion/shoot"
	"mullion/simcam"
)

// faultyCard is a card of three views: of the guest room's bracket a frame was never
// taken, and the bathroom is out of focus.
func faultyCard(t *testing.T) string {
	t.Helper()
	s := simcam.Defaults()
	s.Scale = .5
	var scenes []simcam.View
	for _, name := range []string{"bath", "guest", "dining"} {
		v, err := demo.Truth(name)
		if err != nil {
			t.Fatal(err)
		}
		scenes = append(scenes, v.Scene())
	}
	card := filepath.Join(t.TempDir(), "card")
	faults := map[string][]simcam.Fault{"guest": {simcam.MissingFrame}, "bath": {simcam.Blur.Times(2)}}
	if _, err := simcam.LF1().ShootFaulty(t.Context(), card, scenes, s, faults); err != nil {
		t.Fatal(err)
	}
	return card
}

// A card is taken in on the start page. Behind the walk its brackets are checked; what is
// found stands under the views it is about, with a button, and is there at once when the
// shoot is opened again.
func TestCheckInBrowser(t *testing.T) {
	card, dir := faultyCard(t), filepath.Join(t.TempDir(), "house")
	s := running(t, Options{Home: t.TempDir(), Config: t.TempDir(), Keys: t.TempDir()})
	b := opened(t, s)
	b.until(pages["/start"])
	b.ask(`(f => { f.Card.value = ` + quoted(card) + `; f.To.value = ` + quoted(dir) + `; f.requestSubmit(); return 1 })(document.getElementById("take"))`)
	b.until(`location.pathname === "/" && document.querySelectorAll(".view").length === 3`)
	b.until(`document.getElementById("going").textContent.includes("every bracket") || document.querySelector(".mark.reshoot")`)
	b.until(`document.querySelector("[data-view=view-02] .mark.reshoot") && document.querySelector("[data-view=view-01] .mark") && !document.getElementById("going").textContent`)
	for id, words := range map[string]string{"view-01": "blur", "view-02": "shoot the view again"} {
		if said := b.ask(`document.getElementById("why-` + id + `").textContent`); !strings.Contains(strings.ToLower(said), words) {
			t.Errorf("on the walk %s says %q, want %q in it", id, said, words)
		}
	}

	b.do(cd.Navigate(b.base + "/view/view-02"))
	line := `[...document.querySelectorAll("#findings li.reshoot")].find(l => l.firstChild.textContent.includes("shoot the view again"))`
	b.until(line)
	b.ask(`(` + line + `.querySelector("[data-do=found-out]").focus(), 1)`)
	b.do(cd.KeyEvent("\r"))
	b.until(`document.querySelector(".top [data-do=out]").textContent === "Bring back"`)
	if !read(t, dir).View("view-02").Decisions.LeaveOut {
		t.Error("the button of the finding left nothing out")
	}

	// Another studio knows it from the cache, without looking again.
	c := running(t, Options{Shoot: dir})
	if state, found := c.here().checking.look(); state.State != "" || len(found.says("view-02")) == 0 {
		t.Errorf("opened again it is %+v with %v", state, found)
	}
}

// A check that is stopped with the studio leaves nothing behind, and the next studio does
// it; when it is through the pages have the findings.
func TestCheckStopped(t *testing.T) {
	dir := house1(t)
	if err := os.Remove(checkedPath(dir)); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	s, err := Start(ctx, Options{Shoot: dir, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if state, _ := s.here().checking.look(); state.State != "running" {
		t.Fatalf("a shoot that was never checked is %+v", state)
	}
	stop()
	if err := s.Serve(); err != nil {
		t.Fatal(err)
	}
	left, err := filepath.Glob(filepath.Join(dir, "cache", "*check*"))
	if err != nil || len(left) != 0 {
		t.Errorf("the stopped check left %v (%v)", left, err)
	}
	again := running(t, Options{Shoot: dir})
	again.behindOnce(t)
	if _, err := os.Stat(checkedPath(dir)); err != nil {
		t.Error(err)
	}
}

// behindOnce waits until the check of the open house is through.
func (s *Server) behindOnce(t *testing.T) {
	t.Helper()
	page := make(chan event, 64)
	s.hub.mu.Lock()
	s.hub.pages[page] = true
	s.hub.mu.Unlock()
	for {
		if state, _ := s.here().checking.look(); state.State == "" {
			return
		}
		select {
		case <-page:
		case <-t.Context().Done():
			t.Fatal("the check did not end")
		}
	}
}

// A check counts views and frames by itself; what it says is told by the shoot's names.
func TestAdopt(t *testing.T) {
	frame := func(name string) shoot.Frame { return shoot.Frame{Path: "originals/DCIM/" + name, SHA256: name} }
	d := &shoot.Doc{Views: []shoot.View{
		{ID: "view-04", Frames: []shoot.Frame{frame("b"), frame("a"), frame("c")}},
		{ID: "view-07", Frames: []shoot.Frame{frame("d"), frame("e")}},
	}}
	of := func(names ...string) (out []finish.FrameReport) {
		for _, n := range names {
			out = append(out, finish.FrameReport{File: "DCIM/" + n})
		}
		return out
	}
	got := adopt(d, &check.Report{Views: []check.View{
		{ID: "view-01", Frames: of("x"), Mark: true, Findings: []finding.Finding{{Code: "frame-empty"}}},
		{ID: "view-02", Frames: of("a", "b", "c"), Findings: []finding.Finding{{Code: "frame-soft", Value: 1, Unit: "frame"}}},
		{ID: "view-03", Frames: of("d", "e"), Findings: []finding.Finding{{Code: "near-duplicate", Message: "the same picture as view-02;"}}},
	}}, "key")
	if len(got.Views) != 2 || len(got.says("view-04")) != 1 || len(got.says("view-07")) != 1 {
		t.Fatalf("%+v", got.Views)
	}
	if f := got.says("view-04")[0]; f.Value != 2 {
		t.Errorf("the shoot's second frame is called number %g", f.Value)
	}
	if f := got.says("view-07")[0]; !strings.Contains(f.Message, "view-04;") {
		t.Errorf("it says %q", f.Message)
	}
}

// What both say is said once, and what the finishing has dealt with needs no look.
func TestTogether(t *testing.T) {
	straight := finish.ViewReport{Plumb: finish.PlumbReport{Confidence: .9}}
	list := []finding.Finding{{Code: "moving", Severity: finding.Note}, {Code: "frame-missing", Severity: finding.Look}}
	found := []finding.Finding{
		{Code: "moving", Severity: finding.Look}, {Code: "bracket-incomplete", Severity: finding.Reshoot},
		{Code: "tilt", Severity: finding.Look}, {Code: "camera-moved", Severity: finding.Reshoot},
	}
	says := func(list []finding.Finding) string {
		var out []string
		for _, f := range list {
			out = append(out, f.Code+" "+string(f.Severity))
		}
		return strings.Join(out, ", ")
	}
	want := "moving note, bracket-incomplete reshoot, tilt note, camera-moved reshoot"
	if got := says(together(list, found, straight, shoot.Decisions{})); got != want {
		t.Errorf("said is %s, want %s", got, want)
	}
	if got := says(together(nil, found[2:3], finish.ViewReport{}, shoot.Decisions{})); got != "tilt look" {
		t.Errorf("of a view that was not straightened %s", got)
	}
}
