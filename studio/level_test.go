package studio

import (
	"math"
	"net/http"
	"testing"

	cd "github.com/chromedp/chromedp"
)

// The level is pushed with the pointer and with keys. While the hand moves the page shows
// drafts, smaller than the picture that follows when it rests; then shoot.json has the
// level, once, and undo takes it back.
func TestLevelInBrowser(t *testing.T) {
	dir := house1(t)
	s := running(t, Options{Shoot: dir})
	b := opened(t, s)
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(`document.getElementById("main").dataset.key && document.getElementById("picture").src.includes("/live/")`)
	key := func() string { return b.ask(`document.getElementById("main").dataset.key`) }
	b.ask(`(document.querySelector("input[name=tool][value=upright]").click(), 1)`)
	b.ask(`(document.getElementById("pad").scrollIntoView({block: "center"}), 1)`)
	from := s.seen.last[len(s.seen.last)-1].facts.Level
	before := b.ask(`document.getElementById("level").textContent`)

	x, y, w, h := b.box("#pad")
	x, y = x+w/2, y+h/2
	was := key()
	b.do(cd.MouseEvent("mousePressed", x, y, cd.ButtonLeft))
	for i := range 5 {
		b.do(cd.MouseEvent("mouseMoved", x+float64(4*i), y-float64(16*i), cd.ButtonLeft))
	}
	b.until(`document.getElementById("picture").src.startsWith("blob:") && document.getElementById("picture").naturalWidth`)
	if draft, whole := b.ask(`document.getElementById("picture").naturalWidth`), b.ask(`document.getElementById("picture").width`); draft != "800" && draft == whole {
		t.Errorf("the draft is %s pixels wide, the picture %s", draft, whole)
	}
	if read(t, dir).View("view-02").Decisions.Level != nil {
		t.Error("a level was kept while the hand was moving")
	}
	if now := b.ask(`document.getElementById("level").textContent`); now == before {
		t.Errorf("while the hand moves the page says %q", now)
	}
	b.do(cd.MouseEvent("mouseReleased", x+16, y-64, cd.ButtonLeft))
	b.until(`document.getElementById("main").dataset.key !== "` + was + `"`)
	level := read(t, dir).View("view-02").Decisions.Level
	if level == nil || math.Abs(level.PitchDeg-from.Pitch-1.6) > .011 || math.Abs(level.RollDeg-from.Roll-.4) > .011 || level.YawDeg != from.Yaw {
		t.Fatalf("pushing up and to the right decided %+v, from %+v", level, from)
	}
	b.until(`document.getElementById("picture").src.includes("/live/")`)

	was = key()
	pitch := level.PitchDeg
	b.ask(`(document.getElementById("pad").focus(), 1)`)
	b.do(cd.KeyEvent(keyUp), cd.KeyEvent(keyUp))
	b.until(`document.getElementById("main").dataset.key !== "` + was + `"`)
	level = read(t, dir).View("view-02").Decisions.Level
	if level == nil || math.Abs(level.PitchDeg-pitch-.2) > .011 {
		t.Errorf("two arrows up took the pitch from %.2f to %+v", pitch, level)
	}

	for range 2 { // one step for the hand and one for the keys
		b.until(`!document.querySelector("[data-do=undo]").disabled`)
		rev := b.ask(`document.querySelector(".history").dataset.rev`)
		b.do(cd.Click(cd.CSS(`[data-do=undo]`)))
		b.until(`document.querySelector(".history").dataset.rev !== "` + rev + `"`)
	}
	if d := read(t, dir).View("view-02").Decisions; !d.IsZero() {
		t.Errorf("after undoing both it is %+v", d)
	}
}

// A level beyond what can be set is refused, and none is kept.
func TestLevelRefused(t *testing.T) {
	dir := house1(t)
	v := visit(t, running(t, Options{Shoot: dir}))
	if status, said := v.post("/decide/view-02", map[string]any{"level": map[string]any{"pitch": 46}}); status != http.StatusBadRequest {
		t.Errorf("46 degrees of pitch are answered %d %s", status, said)
	}
	for query, want := range map[string]int{"draft=1&roll=46": http.StatusBadRequest, "draft=1&pitch=NaN": http.StatusBadRequest, "draft=1&pitch=2&roll=-1": http.StatusOK} {
		if status, _, _ := v.get("/live/view-02?" + query); status != want {
			t.Errorf("%s is answered %d, want %d", query, status, want)
		}
	}
	if l := read(t, dir).View("view-02").Decisions.Level; l != nil {
		t.Errorf("kept is %+v", l)
	}
}

// Escape in the middle of a stroke, a line, a box, a light or a level leaves it undone, and
// letting go afterwards does nothing.
func TestEscapeInBrowser(t *testing.T) {
	dir := house1(t)
	b := opened(t, running(t, Options{Shoot: dir}))
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(`document.getElementById("main").dataset.key && document.getElementById("picture").src.includes("/live/")`)
	for _, tool := range []string{"remove", "upright", "soften", "light", "level"} {
		take, on := tool, "#sheet"
		if tool == "level" {
			take, on = "upright", "#pad"
		}
		b.ask(`(document.querySelector("input[name=tool][value=` + take + `]").click(), 1)`)
		b.ask(`(document.querySelector("` + on + `").scrollIntoView({block: "center"}), document.querySelector("` + on + `").focus(), 1)`)
		x, y, w, h := b.box(on)
		x, y = x+w/2, y+h/2
		b.do(cd.MouseEvent("mousePressed", x, y, cd.ButtonLeft), cd.MouseEvent("mouseMoved", x+30, y+40, cd.ButtonLeft), cd.MouseEvent("mouseMoved", x+60, y+50, cd.ButtonLeft))
		b.do(cd.KeyEvent(keyEscape), cd.MouseEvent("mouseReleased", x+60, y+50, cd.ButtonLeft))
		b.until(`document.getElementById("picture").src.includes("/live/")`)
		if v := read(t, dir).View("view-02"); !v.Decisions.IsZero() || len(v.Edits) > 0 {
			t.Fatalf("%s, left with Escape, has decided %+v and %d edits", tool, v.Decisions, len(v.Edits))
		}
		if b.ask(`document.querySelector("[data-do=straighten]").disabled`) != "true" {
			t.Errorf("%s, left with Escape, has drawn a line", tool)
		}
	}
}

const keyEscape = "\u001b"
