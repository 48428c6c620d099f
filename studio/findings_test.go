package studio

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	cd "github.com/chromedp/chromedp"

	"mullion/finding"
	"mullion/finish"
	"mullion/shoot"
)

// Every kind of finding that any package of the program can emit has its line in the
// table of remedies, and every line is of a kind that is emitted.
func TestRemediesOfAllFindings(t *testing.T) {
	emits := []*regexp.Regexp{
		regexp.MustCompile(`\b(?:say|note)\("([a-z]+-?[a-z-]*)",`),
		regexp.MustCompile(`\bCode:\s*"([a-z-]+)"`),
		regexp.MustCompile(`\bNote\{"([a-z-]+)", "(?:note|look|reshoot)"`),
	}
	found := map[string]string{}
	for _, dir := range []string{"bracket", "finish", "check", "group", "studio"} {
		files, err := filepath.Glob(filepath.Join("..", dir, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatalf("no source in %s (%v)", dir, err)
		}
		for _, f := range files {
			if strings.HasSuffix(f, "_test.go") {
				continue
			}
			text, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range emits {
				for _, m := range e.FindAllSubmatch(text, -1) {
					found[string(m[1])] = f
				}
			}
		}
	}
	if len(found) < 50 {
		t.Fatalf("only %d kinds of finding were found in the source", len(found))
	}
	for code, file := range found {
		if _, ok := remedies[code]; !ok {
			t.Errorf("%s emits %q, which has no line in remedies", file, code)
		}
	}
	for code := range remedies {
		if found[code] == "" {
			t.Errorf("remedies has a line for %q, which nothing emits", code)
		}
	}
}

// Buttons name the frame, the edit and the place they are about, and are left away where
// this picture has none.
func TestRemediesAim(t *testing.T) {
	f := &facts{Frames: make([]frame, 5)}
	do := func(code string, value float64) (out []button) {
		return sayOf(f, finding.Finding{Code: code, Severity: finding.Look, Value: value}, false).Buttons
	}
	if b := do("frame-left-out", 4); len(b) != 1 || b[0].Do != doFrame || b[0].N != 3 {
		t.Errorf("frame 4 was left out: %+v", b)
	}
	if b := do("frame-left-out", 9); len(b) != 0 {
		t.Errorf("frame 9 of 5 was left out: %+v", b)
	}
	if b := do("shadows-drown", 0); len(b) != 1 || b[0].N != 4 {
		t.Errorf("shadows drown: %+v", b)
	}
	if b := do("dust-mended", 1); len(b) != 0 {
		t.Errorf("dust without a place: %+v", b)
	}
	f.Dust = []spot{{.5, .5, .01}}
	if b := do("dust-mended", 1); len(b) != 1 || b[0].Do != doSpots {
		t.Errorf("dust with a place: %+v", b)
	}
	f.Edits = []edit{{ID: 7, Action: "remove", Where: [4]float64{10, 20, 30, 40}}, {ID: 8, Action: "soften"}}
	b := do("removal-wide", 0)
	if len(b) != 2 || b[0].At == nil || *b[0].At != [4]float64{.1, .2, .3, .4} || b[1].Do != doBack || b[1].N != 7 {
		t.Errorf("a wide removal: %+v", b)
	}
	s := sayOf(f, finding.Finding{Code: "soft", Severity: finding.Reshoot}, false)
	if n := len(s.Buttons); n != 2 || s.Buttons[1].Do != doOut {
		t.Errorf("what should be shot again: %+v", s.Buttons)
	}
	if s = sayOf(f, finding.Finding{Code: "near-duplicate", Severity: finding.Note}, true); len(s.Buttons) != 0 {
		t.Errorf("a duplicate that is left out already: %+v", s.Buttons)
	}
}

// What was measured with little confidence is said, until somebody has decided.
func TestUnsure(t *testing.T) {
	r := finish.ViewReport{
		Light: finish.LightReport{Kelvin: 3100, Confidence: .2},
		Plumb: finish.PlumbReport{Confidence: .1, Note: "no three vertical lines agree: left as it is"},
	}
	if got := unsure(r, shoot.Decisions{}); len(got) != 2 {
		t.Errorf("unsure of light and level: %+v", got)
	}
	if got := unsure(r, shoot.Decisions{RoomWarmth: &shoot.Warmth{Mired: 3}, Level: &shoot.Level{RollDeg: 1}}); len(got) != 0 {
		t.Errorf("decided by a person: %+v", got)
	}
	r.Light.Confidence, r.Plumb.Confidence = .9, .9
	if got := unsure(r, shoot.Decisions{}); len(got) != 0 {
		t.Errorf("sure of both: %+v", got)
	}
}

// Every button does by the keyboard what its words say.
func TestFindingButtonsInBrowser(t *testing.T) {
	dir := house1(t)
	s := running(t, Options{Shoot: dir})
	b := opened(t, s)
	visit(t, s).must("/edit/view-02", painted{Action: "remove", Kind: "cord", Points: [][2]float64{{.55, .75}, {.62, .8}}, Width: .014})
	plant(t, s, "view-02", []finding.Finding{
		{Code: "window-clipped", Severity: finding.Look, Message: "clipped"},
		{Code: "camera-unknown", Severity: finding.Look, Message: "white"},
		{Code: "level-partly", Severity: finding.Look, Message: "upright"},
		{Code: "light-changed", Severity: finding.Look, Message: "middle"},
		{Code: "room-darker", Severity: finding.Look, Message: "light"},
		{Code: "dust-mended", Severity: finding.Note, Message: "spots"},
		{Code: "removal-wide", Severity: finding.Look, Message: "wide"},
		{Code: "removal", Severity: finding.Look, Message: "removal"},
		{Code: "hot-photosites", Severity: finding.Note, Message: "for the record"},
		{Code: "soft", Severity: finding.Reshoot, Message: "soft"},
	})
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(`document.getElementById("main").dataset.key && document.getElementById("picture").src.includes("/live/")`)
	button := func(words, does string) string {
		return `[...document.querySelectorAll("#findings li")].find(l => l.firstChild.textContent === "` + words + `").querySelector("[data-do=` + does + `]")`
	}
	enter := func(words, does string) {
		t.Helper()
		b.ask("(" + button(words, does) + ".focus(), 1)")
		b.do(cd.KeyEvent("\r"))
	}
	check := func(what, js string) {
		t.Helper()
		b.until(js)
		t.Log(what)
	}
	tool := `document.querySelector("[name=tool]:checked").value === `

	b.ask("(" + button("clipped", "exposure") + `.dispatchEvent(new KeyboardEvent("keydown", {key: "Enter", bubbles: true})), 1)`)
	check("the darkest exposure is held", `sheet.dataset.shown === "exposure" && document.getElementById("other").src.includes("/exposure/view-02/0")`)
	b.ask(`(document.dispatchEvent(new KeyboardEvent("keyup", {key: "Enter"})), 1)`)
	check("and let go", `!sheet.dataset.shown && document.getElementById("other").hidden`)
	enter("white", "found-white")
	check("a white can be pointed at", tool+`"white" && document.activeElement === sheet`)
	enter("upright", "found-upright")
	check("lines can be drawn", tool+`"upright" && document.activeElement === sheet`)
	enter("middle", "found-middle")
	check("the middle exposure stands beside", tool+`"compare" && sheet.dataset.beside === "middle"`)
	enter("removal", "found-compare")
	check("the unaltered picture stands beside", `sheet.dataset.beside === "unaltered"`)
	enter("light", "found-light")
	check("the number has the keys", `document.activeElement.closest("#light-room") && document.activeElement.name === "ev"`)
	enter("spots", "found-spots")
	check("the places are ringed", `document.querySelectorAll("#marks circle.over").length === 1 && `+button("spots", "found-spots")+`.getAttribute("aria-pressed") === "true"`)
	enter("wide", "found-closer")
	check("the place is seen at full size", tool+`"look" && document.querySelector(".near") && (() => {
		const p = document.getElementById("pane").getBoundingClientRect(), s = sheet.getBoundingClientRect();
		const x = (p.left + p.width / 2 - s.left) / s.width, y = (p.top + p.height / 2 - s.top) / s.height;
		return x > .35 && x < .75 && y > .5;
	})()`)
	check("what asks for nothing is for the record", `document.querySelector("#notes li").textContent === "for the record" && !document.querySelector("#notes button")`)
	enter("wide", "found-put-back")
	check("what was taken out is back", `document.querySelectorAll("#edits li").length === 0`)
	if n := len(read(t, dir).View("view-02").Edits); n != 0 {
		t.Errorf("%d edits are left", n)
	}
	plant(t, s, "view-02", []finding.Finding{{Code: "soft", Severity: finding.Reshoot, Message: "soft"}})
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(`document.querySelector("#findings [data-do=found-out]")`)
	enter("soft", "found-out")
	check("the view is left out", `document.querySelector(".top [data-do=out]").textContent === "Bring back"`)
	if !read(t, dir).View("view-02").Decisions.LeaveOut {
		t.Error("the view is not left out")
	}
}

// plant gives the view's live picture other findings than were made of it, and a place
// of dust.
func plant(t *testing.T, s *Server, id string, list []finding.Finding) {
	t.Helper()
	v := read(t, s.here().dir).View(id)
	l, err := s.seen.make(t.Context(), s.here(), *v)
	if err != nil {
		t.Fatal(err)
	}
	s.seen.mu.Lock()
	defer s.seen.mu.Unlock()
	l.report.Findings = list
	l.facts.Dust = []spot{{.4, .4, .01}}
}
