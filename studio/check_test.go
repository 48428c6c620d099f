package studio

import (
	"context"
	"os"
	"path/filepath"
	"reflect"
	"slices"
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

// Originals that were left where they are, in two folders, are checked there, alone: what
// else lies beside them is no part of the shoot. When they are gone that is said, and when
// they are back the next studio finds what there is to find.
func TestCheckInPlace(t *testing.T) {
	card, dir := faultyCard(t), filepath.Join(t.TempDir(), "house")
	if _, err := finish.Run(t.Context(), finish.Job{Card: card, Shoot: dir, InPlace: true, Version: "test"}); err != nil {
		t.Fatal(err)
	}
	frames := read(t, dir).Views[0].Frames
	beside := filepath.Join(filepath.Dir(frames[0].Path), "ZZZZ0001.DNG")
	if err := os.WriteFile(beside, []byte("of another shoot, and no picture"), 0o600); err != nil {
		t.Fatal(err)
	}
	d := read(t, dir)
	for _, f := range frames {
		if !filepath.IsAbs(f.Path) {
			t.Fatalf("%s was not left in place", f.Path)
		}
	}
	from := sources(d, dir)
	if len(from) != 1 || !strings.HasPrefix(from[0].root, card) || len(from[0].frames) < 10 {
		t.Fatalf("the frames are said to lie in %+v", from)
	}

	away := card + "-away"
	if err := os.Rename(card, away); err != nil {
		t.Fatal(err)
	}
	gone := running(t, Options{Shoot: dir})
	gone.behindUntil(t, "failed")
	if state, _ := gone.here().checking.look(); !strings.Contains(state.Words(), "connect the card") {
		t.Errorf("without its originals the check says %q", state.Words())
	}
	if err := os.Rename(away, card); err != nil {
		t.Fatal(err)
	}

	s := running(t, Options{Shoot: dir})
	s.behindOnce(t)
	_, found := s.here().checking.look()
	has := func(id, code string) bool {
		return slices.ContainsFunc(found.says(id), func(f finding.Finding) bool { return f.Code == code })
	}
	if !has("view-02", "bracket-incomplete") || has("view-01", "bracket-incomplete") {
		t.Errorf("view-01 has %+v, view-02 %+v", found.says("view-01"), found.says("view-02"))
	}
	for _, said := range found.card() {
		if strings.Contains(said, "ZZZZ0001") {
			t.Errorf("a file of another shoot is told of: %s", said)
		}
	}
	if _, err := os.Stat(checkedPath(dir)); err != nil {
		t.Error(err)
	}
}

// Where the frames of a shoot lie.
func TestSources(t *testing.T) {
	view := func(paths ...string) (v shoot.View) {
		for _, p := range paths {
			v.Frames = append(v.Frames, shoot.Frame{Path: p})
		}
		return v
	}
	d := &shoot.Doc{Views: []shoot.View{view("originals/a.dng", "/disk/may/b.dng"), view("/disk/june/x/c.dng", "/disk/may/a.dng")}}
	got := sources(d, "/house")
	want := []source{{root: "/house/originals"}, {"/disk", []string{"/disk/june/x/c.dng", "/disk/may/a.dng", "/disk/may/b.dng"}}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("they lie in %+v, want %+v", got, want)
	}
	if got := sources(&shoot.Doc{Views: []shoot.View{view()}}, "/house"); len(got) != 0 {
		t.Errorf("no frames lie in %+v", got)
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
	s.behindUntil(t, "")
}

// behindUntil waits until the check of the open house has come to a state.
func (s *Server) behindUntil(t *testing.T, want string) {
	t.Helper()
	page := make(chan event, 64)
	s.hub.mu.Lock()
	s.hub.pages[page] = true
	s.hub.mu.Unlock()
	for {
		if state, _ := s.here().checking.look(); state.State == want {
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
	got := &checked{Views: map[string][]finding.Finding{}}
	got.adopt(d, &check.Report{Views: []check.View{
		{ID: "view-01", Frames: of("x"), Mark: true, Findings: []finding.Finding{{Code: "frame-empty"}}},
		{ID: "view-02", Frames: of("a", "b", "c"), Findings: []finding.Finding{{Code: "frame-soft", Value: 1, Unit: "frame"}}},
		{ID: "view-03", Frames: of("d", "e"), Findings: []finding.Finding{{Code: "near-duplicate", Message: "the same picture as view-02;"}}},
	}}, "/house", "/house/originals")
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
