package studio

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	cd "github.com/chromedp/chromedp"

	"mullion/shoot"
)

// browser finds a Chromium, or skips the test.
func browser(t *testing.T) string {
	t.Helper()
	if path := os.Getenv("MULLION_BROWSER"); path != "" {
		return path
	}
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Skip("no Chromium is installed (or named by MULLION_BROWSER): the pages are not tried in a browser")
	return ""
}

// tab is a page in a headless browser.
type tab struct {
	t    *testing.T
	ctx  context.Context
	base string
}

// opened starts a browser and opens the studio in it as a person does.
func opened(t *testing.T, s *Server, flags ...cd.ExecAllocatorOption) *tab {
	t.Helper()
	path := browser(t)
	opts := append(cd.DefaultExecAllocatorOptions[:], cd.ExecPath(path), cd.NoSandbox, cd.DisableGPU)
	opts = append(opts, flags...)
	ctx, stop := cd.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(stop)
	ctx, stopTab := cd.NewContext(ctx)
	t.Cleanup(stopTab)
	b := &tab{t, ctx, "http://" + s.ln.Addr().String()}
	b.do(cd.EmulateViewport(1440, 900))
	b.watch()
	b.do(cd.Navigate(s.URL()))
	return b
}

// another opens a second tab of the same browser, on the same page.
func (b *tab) another(path string) *tab {
	b.t.Helper()
	ctx, stop := cd.NewContext(b.ctx)
	b.t.Cleanup(stop)
	c := &tab{b.t, ctx, b.base}
	c.do(cd.EmulateViewport(1440, 900))
	c.watch()
	c.do(cd.Navigate(b.base + path))
	return c
}

// watch fails the test when a page's script fails or the policy stops something.
func (b *tab) watch() {
	go func() {
		for m, err := range cd.Console(b.ctx) {
			if err != nil {
				return
			}
			if said := fmt.Sprint(m); strings.Contains(said, "exception") || strings.Contains(said, "Content Security Policy") {
				b.t.Errorf("the page says %s", said)
			}
		}
	}()
}

// do does as a person would. A page that hears of a change replaces what it shows; an
// element that was replaced between being found and being pressed is looked for again.
func (b *tab) do(steps ...cd.Action[cd.Void]) {
	b.t.Helper()
	for _, step := range steps {
		err := cd.Do(b.ctx, step)
		for range 20 {
			if err == nil || !strings.Contains(err.Error(), "Could not find node with given id") {
				break
			}
			err = cd.Do(b.ctx, step)
		}
		if err != nil {
			b.t.Fatal(err)
		}
	}
}

// ask evaluates an expression to text.
func (b *tab) ask(js string) string {
	b.t.Helper()
	out, err := cd.Run(b.ctx, cd.Evaluate[string]("String("+js+")"))
	if err != nil {
		b.t.Fatalf("%s: %v", js, err)
	}
	return out
}

// until waits for an expression to be true.
func (b *tab) until(js string) {
	b.t.Helper()
	for end := time.Now().Add(90 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if b.ask("!!("+js+")") == "true" {
			return
		}
		if time.Now().After(end) {
			b.t.Fatalf("%s did not come about; the page says %q", js, b.ask(`document.getElementById("said")?.textContent`))
		}
	}
}

// box is where an element lies on the page.
func (b *tab) box(css string) (x, y, w, h float64) {
	b.t.Helper()
	var r [4]float64
	quoted, _ := json.Marshal(css)
	at := b.ask(`JSON.stringify((r => [r.x, r.y, r.width, r.height])(document.querySelector(` + string(quoted) + `).getBoundingClientRect()))`)
	if err := json.Unmarshal([]byte(at), &r); err != nil {
		b.t.Fatal(err)
	}
	return r[0], r[1], r[2], r[3]
}

// press moves the pointer from one place of the picture to another with the button down.
func (b *tab) press(x0, y0, x1, y1 float64) {
	b.t.Helper()
	b.ask(`document.getElementById("sheet").scrollIntoView({block: "nearest"})`)
	x, y, w, h := b.box("#sheet")
	b.do(cd.DragAndDropXY(x+x0*w, y+y0*h, x+x1*w, y+y1*h, 12))
}

// The house is opened, put into another order by dragging and by keys, a room is named,
// a view is left out, and all of it is in shoot.json; undo takes it back.
func TestWalkInBrowser(t *testing.T) {
	dir := house1(t)
	b := opened(t, running(t, Options{Shoot: dir}))
	first := order(t, dir)
	if first != "03 02 01" { // dining room, guest room, bathroom: the way a buyer walks
		t.Fatalf("the walk begins as %s", first)
	}
	b.until(`document.querySelectorAll(".view img").length == 3 && [...document.querySelectorAll(".view img")].every(i => i.complete && i.naturalWidth > 300)`)

	// Dragging the bathroom to the left half of the dining room's picture.
	fx, fy, fw, fh := b.box(`[data-view=view-01] img`)
	tx, ty, tw, th := b.box(`[data-view=view-03] img`)
	b.do(cd.DragAndDropXY(fx+fw/2, fy+fh/2, tx+tw/4, ty+th/2, 10))
	b.until(`document.querySelector(".history").dataset.rev === undefined || document.querySelector("[data-do=undo]").disabled === false`)
	if got := order(t, dir); got != "01 03 02" {
		t.Errorf("after dragging the order is %s", got)
	}
	if room := read(t, dir).View("view-01").Room; room != "Dining room" {
		t.Errorf("the dragged view is in the room %q", room)
	}

	// Carrying the last view one place on by keys, into a room of its own before.
	b.ask(`(document.querySelector("[data-view=view-02] [data-do=move]").focus(), 1)`) // in one step: the page may be fetched anew meanwhile
	b.do(cd.KeyEvent("\r"), cd.KeyEvent(keyLeft), cd.KeyEvent("\r"))
	b.until(`document.querySelector("[data-do=undo]").title.includes("view-02")`)
	if v := read(t, dir).View("view-02"); v.Room != "Dining room" {
		t.Errorf("carried over the threshold the view is in the room %q", v.Room)
	}

	// A name for the room.
	b.do(cd.Focus(cd.CSS(`.room-name`)))
	b.ask(`(i => { i.value = "Great room"; i.dispatchEvent(new Event("change", {bubbles: true})); return 1 })(document.querySelector(".room-name"))`)
	b.until(`document.querySelector("[data-do=undo]").title.includes("Great room")`)
	for _, id := range []string{"view-01", "view-02", "view-03"} {
		if room := read(t, dir).View(id).Room; room != "Great room" {
			t.Errorf("%s is in %q", id, room)
		}
	}

	// Left out and undone.
	b.do(cd.Click(cd.CSS(`[data-view=view-03] [data-do=out]`)))
	b.until(`document.querySelector(".shelf [data-view=view-03]") && document.querySelector("[data-do=undo]").title.includes("left out")`)
	if got := order(t, dir); !strings.HasSuffix(got, "-03") {
		t.Errorf("after leaving out the order is %s", got)
	}
	for range 4 {
		was := b.ask(`document.getElementById("page").dataset.rev`)
		b.do(cd.Click(cd.CSS(`[data-do=undo]`)))
		b.until(`document.getElementById("page").dataset.rev !== "` + was + `"`)
	}
	if got := order(t, dir); got != first {
		t.Errorf("after undoing all the order is %s, want %s", got, first)
	}
}

const keyLeft = "\u0302" // the arrow's name in chromedp

// The light of the room is changed by dragging on the wall, the window's by dragging on
// the glass, numbers are typed, arrow keys do the same; shoot.json has it, and the
// picture on the page has changed.
func TestLightInBrowser(t *testing.T) {
	dir := house1(t)
	s := running(t, Options{Shoot: dir})
	b := opened(t, s)
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(`document.getElementById("main").dataset.key && document.getElementById("picture").src.includes("/live/")`)
	key := func() string { return b.ask(`document.getElementById("main").dataset.key`) }
	changed := func(was string) {
		t.Helper()
		b.until(`document.getElementById("main").dataset.key !== "` + was + `"`)
	}

	was := key()
	b.press(.2, .3, .2, .1) // up on the wall
	changed(was)
	d := read(t, dir).View("view-02").Decisions
	if d.RoomEV == nil || *d.RoomEV < .3 || d.WindowEV != nil {
		t.Fatalf("dragging up on the wall decided %+v", d)
	}
	t.Logf("dragged to %+.2f EV", *d.RoomEV)

	// The middle of the glass, by the map that the page has.
	l := s.seen.last[len(s.seen.last)-1].facts
	gx, gy := glassPlace(t, l.Glass)
	was = key()
	b.press(gx, gy, gx+.1, gy)
	changed(was)
	d = read(t, dir).View("view-02").Decisions
	if d.WindowWarmth == nil || d.WindowWarmth.Mired < 5 || d.RoomWarmth != nil {
		t.Errorf("dragging right on the glass decided %+v", d)
	}

	was = key()
	b.ask(`(i => { i.value = "-0.25"; i.dispatchEvent(new Event("change", {bubbles: true})); return 1 })(document.querySelector("#light-room [name=ev]"))`)
	changed(was)
	if d = read(t, dir).View("view-02").Decisions; d.RoomEV == nil || *d.RoomEV != -.25 {
		t.Errorf("typing -0.25 decided %v", d.RoomEV)
	}

	was = key()
	b.do(cd.Focus(cd.CSS("#sheet")), cd.KeyEvent("r"), cd.KeyEvent(keyUp), cd.KeyEvent(keyUp))
	changed(was)
	if d = read(t, dir).View("view-02").Decisions; d.RoomEV == nil || *d.RoomEV != -.05 {
		t.Errorf("two arrows up decided %v, want -0.05", *d.RoomEV)
	}

	// To the house and back.
	b.do(cd.Click(cd.CSS(`[data-do=to-house]`)))
	b.until(`document.getElementById("said").textContent.includes("2 other views")`)
	if o := read(t, dir).View("view-01").Decisions.RoomEV; o == nil || *o != -.05 {
		t.Errorf("the house has %v", o)
	}
	for range 5 {
		undo := b.ask(`document.querySelector(".history").dataset.rev`)
		b.until(`!document.querySelector("[data-do=undo]").disabled`)
		b.do(cd.Click(cd.CSS(`[data-do=undo]`)))
		b.until(`document.querySelector(".history").dataset.rev !== "` + undo + `"`)
	}
	if d = read(t, dir).View("view-02").Decisions; !d.IsZero() {
		t.Errorf("after undoing all it is %+v", d)
	}
}

const keyUp = "\u0304"

// glassPlace is the place with the most glass around it.
func glassPlace(t *testing.T, g glass) (x, y float64) {
	t.Helper()
	data := glassData(t, g)
	best := -1
	for j := 3; j < g.H-3; j++ {
		for i := 3; i < g.W-3; i++ {
			sum := 0
			for v := -3; v <= 3; v++ {
				for u := -3; u <= 3; u++ {
					sum += int(data[(j+v)*g.W+i+u])
				}
			}
			if sum > best {
				best, x, y = sum, (float64(i)+.5)/float64(g.W), (float64(j)+.5)/float64(g.H)
			}
		}
	}
	if best < 49*200 {
		t.Fatal("this view has no window to speak of")
	}
	return x, y
}

// A line is painted over something; the picture changes there and nowhere else; what
// belongs to the house is refused in words; an upright line and a white are taken.
func TestRemovalInBrowser(t *testing.T) {
	dir := house1(t)
	b := opened(t, running(t, Options{Shoot: dir}))
	b.do(cd.Navigate(b.base + "/view/view-02"))
	ready := `document.getElementById("main").dataset.key && document.getElementById("picture").src.includes("/live/")`
	b.until(ready)
	changed := func(was string) {
		t.Helper()
		b.until(`document.getElementById("main").dataset.key !== "` + was + `"`)
	}
	key := func() string { return b.ask(`document.getElementById("main").dataset.key`) }

	b.do(cd.Click(cd.CSS(`input[value=remove]`)))
	was := key()
	b.press(.55, .75, .62, .8)
	changed(was)
	v := read(t, dir).View("view-02")
	if len(v.Edits) != 1 || v.Edits[0].Kind != "cord" || len(v.Edits[0].Strokes) != 1 {
		t.Fatalf("painting entered %+v", v.Edits)
	}
	b.until(`document.querySelectorAll("#edits li").length == 1`)

	b.ask(`document.getElementById("remove-kind").value = "other"`)
	b.ask(`document.getElementById("remove-words").value = "a crack in the wall"`)
	b.press(.3, .4, .35, .4)
	b.until(`document.getElementById("said").textContent.includes("is not taken out")`)
	if n := len(read(t, dir).View("view-02").Edits); n != 1 {
		t.Errorf("%d edits after a refusal", n)
	}

	b.do(cd.Click(cd.CSS(`input[value=soften]`)))
	was = key()
	b.press(.1, .1, .2, .25)
	changed(was)
	if e := read(t, dir).View("view-02").Edits; len(e) != 2 || e[1].Action != "soften" || len(e[1].Boxes) != 1 {
		t.Errorf("drawing a box entered %+v", e)
	}

	was = key()
	b.do(cd.Click(cd.CSS(`#edits li button`)))
	changed(was)
	if e := read(t, dir).View("view-02").Edits; len(e) != 1 || e[0].Action != "soften" {
		t.Errorf("putting back left %+v", e)
	}

	b.do(cd.Click(cd.CSS(`input[value=upright]`)))
	b.press(.2, .2, .23, .7)
	was = key()
	b.do(cd.Click(cd.CSS(`[data-do=straighten]`)))
	changed(was)
	l := read(t, dir).View("view-02").Decisions.Level
	if l == nil || l.RollDeg == 0 {
		t.Fatalf("an upright line decided %+v", l)
	}

	b.do(cd.Click(cd.CSS(`input[value=white]`)))
	was = key()
	b.press(.5, .2, .5, .2)
	changed(was)
	if w := read(t, dir).View("view-02").Decisions.RoomWarmth; w == nil {
		t.Error("pointing at a wall decided nothing")
	}

	b.do(cd.Click(cd.CSS(`input[value=compare]`)))
	b.until(`!document.getElementById("other").hidden && document.getElementById("other").naturalWidth > 0`)
	b.press(.5, .5, .25, .5)
	if clip := b.ask(`document.getElementById("other").style.clipPath`); !strings.Contains(clip, "75%") && !strings.Contains(clip, "74.9") && !strings.Contains(clip, "75.") {
		t.Errorf("the divider cuts at %q, want a quarter from the left", clip)
	}
}

// Two tabs show the same house: what one does the other shows, and a change to an older
// state is not taken.
func TestTwoTabs(t *testing.T) {
	dir := house1(t)
	a := opened(t, running(t, Options{Shoot: dir}))
	a.until(`document.documentElement.dataset.live && document.querySelector("[data-view=view-01] [data-do=out]")`)
	b := a.another("/")
	b.until(`document.documentElement.dataset.live && document.querySelector("[data-view=view-01] [data-do=out]")`)
	a.do(cd.Click(cd.CSS(`[data-view=view-01] [data-do=out]`)))
	b.until(`document.querySelector(".shelf [data-view=view-01]")`)
	b.do(cd.Click(cd.CSS(`[data-view=view-02] [data-do=out]`)))
	a.until(`document.querySelector(".shelf [data-view=view-02]")`)
	if got := order(t, dir); !strings.HasPrefix(got, "03 -") {
		t.Errorf("the order is %s", got)
	}
	a.do(cd.Click(cd.CSS(`[data-do=undo]`)))
	b.until(`!document.querySelector(".shelf [data-view=view-02]")`)
}

// What another program writes into the shoot is on the page soon after.
func TestChangedElsewhereInBrowser(t *testing.T) {
	dir := house1(t)
	b := opened(t, running(t, Options{Shoot: dir}))
	b.until(`document.documentElement.dataset.live && document.querySelector("[data-view=view-01]")`)
	s, err := shoot.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	err = s.Update(t.Context(), func(d *shoot.Doc) error { d.View("view-01").Room = "Attic"; return nil })
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	b.until(`[...document.querySelectorAll(".room-name")].some(i => i.value === "Attic")`)
}

// The disk is full: the person is told, and neither the shoot nor its journal is changed.
func TestFullDiskInBrowser(t *testing.T) {
	small := os.Getenv("MULLION_SMALL_DISK")
	if small == "" {
		small = tinyDisk(t)
	}
	dir := filepath.Join(small, "house")
	if err := os.CopyFS(dir, os.DirFS(house1(t))); err != nil {
		t.Fatal(err)
	}
	b := opened(t, running(t, Options{Shoot: dir}))
	b.until(`document.documentElement.dataset.live && document.querySelector("[data-view=view-01] [data-do=out]")`)
	before, err := os.ReadFile(filepath.Join(dir, "shoot.json"))
	if err != nil {
		t.Fatal(err)
	}
	fill(t, small)
	b.do(cd.Click(cd.CSS(`[data-view=view-01] [data-do=out]`)))
	b.until(`document.getElementById("said").textContent.includes("disk is full")`)
	b.until(`!document.querySelector(".shelf [data-view=view-01]")`) // the page shows the truth again
	after, err := os.ReadFile(filepath.Join(dir, "shoot.json"))
	if err != nil || string(before) != string(after) {
		t.Errorf("shoot.json was changed (%v)", err)
	}
	if err := os.Remove(filepath.Join(small, "filler")); err != nil {
		t.Fatal(err)
	}
	b.do(cd.Click(cd.CSS(`[data-view=view-01] [data-do=out]`)))
	b.until(`document.querySelector(".shelf [data-view=view-01]")`)
}

// One button makes the delivery, with what was changed in it; a caption that was typed
// and the package go along; the gallery opens.
func TestDeliverInBrowser(t *testing.T) {
	dir := house1(t)
	keys := t.TempDir()
	b := opened(t, running(t, Options{Shoot: dir, Keys: keys}))
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(`document.getElementById("main").dataset.key && document.getElementById("picture").src.includes("/live/")`)
	b.do(cd.Click(cd.CSS(`input[value=remove]`)))
	was := b.ask(`document.getElementById("main").dataset.key`)
	b.press(.55, .75, .62, .8)
	b.until(`document.getElementById("main").dataset.key !== "` + was + `"`)

	b.do(cd.Navigate(b.base + "/deliver"))
	b.until(`document.documentElement.dataset.live`)
	type3 := func(css, value string) {
		b.ask(`(i => { i.value = ` + fmt.Sprintf("%q", value) + `; i.dispatchEvent(new Event("change", {bubbles: true})); return 1 })(document.querySelector("` + css + `"))`)
	}
	type3(`[data-view=view-03] [name=Caption]`, "Dining room, facing the garden")
	b.until(`document.querySelector("[data-do=undo]").title.includes("words of view-03")`)
	type3(`[name=Count]`, "2")
	b.until(`document.querySelectorAll(".aside li").length === 1`)
	b.do(cd.Click(cd.CSS(`[data-do=make]`)))
	b.until(`document.getElementById("job")?.dataset.state === "done"`)
	if said := b.ask(`document.getElementById("job-failed").textContent`); said != "" {
		t.Errorf("it says %s", said)
	}

	d := read(t, dir)
	if d.View("view-03").Caption != "Dining room, facing the garden" || d.Pack == nil || d.Pack.Count != 2 {
		t.Errorf("caption %q, package %+v", d.View("view-03").Caption, d.Pack)
	}
	made := map[string]bool{}
	entries, err := os.ReadDir(filepath.Join(dir, "deliveries", "listing"))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		made[e.Name()] = true
	}
	for _, want := range []string{"01-dining-room.jpg", "02-guest-room.jpg", "02-guest-room-unaltered.jpg", "index.html", "contact-sheet.pdf", "edit-record.json"} {
		if !made[want] {
			t.Errorf("the delivery lacks %s; it has %v", want, made)
		}
	}
	if made["03-bathroom.jpg"] {
		t.Error("the surplus was delivered")
	}

	b.do(cd.Navigate(b.base + "/gallery/listing/index.html"))
	b.until(`document.querySelectorAll("img[src]").length >= 2 && [...document.querySelectorAll("img[src]")].every(i => i.loading === "lazy" || i.naturalWidth > 0)`)
}

// A delivery that is stopped keeps what it has, and the same button carries on.
func TestStopAndCarryOn(t *testing.T) {
	dir := house1(t)
	s := running(t, Options{Shoot: dir})
	v := visit(t, s)
	v.must("/decide/view-01", map[string]any{"room_ev": .3, "what": "light"}) // one has to be made again
	v.must("/deliver", map[string]any{"sheets": []string{"listing", "print"}})
	v.must("/stop", struct{}{})
	s.job.wait()
	if j := s.job.look(); j.State != "stopped" {
		t.Fatalf("the stopped work is %+v", j)
	}
	before := read(t, dir)
	v.must("/deliver", map[string]any{"sheets": []string{"listing", "print"}})
	if status, answer := v.post("/deliver", map[string]any{"sheets": []string{"listing"}}); status != 409 {
		t.Errorf("a second delivery at once is answered %d %s", status, answer)
	}
	s.job.wait()
	if j := s.job.look(); j.State != "done" || len(j.Failed) > 0 {
		t.Fatalf("carrying on ended as %+v", j)
	}
	for _, o := range read(t, dir).Views {
		for _, sheet := range []string{"listing", "print"} {
			done := o.Done[sheet]
			if len(done.Outputs) == 0 {
				t.Errorf("%s has no file for %s", o.ID, sheet)
			}
			if was := before.View(o.ID).Done[sheet]; was.Key == done.Key && !was.At.Equal(done.At) {
				t.Errorf("%s for %s was made twice", o.ID, sheet)
			}
		}
	}
}

// The studio is killed while a page is open: the page says so, the shoot is whole, and
// another run of the studio goes on.
func TestKilledInBrowser(t *testing.T) {
	dir := house1(t)
	ctx, kill := context.WithCancel(context.Background())
	s, err := Start(ctx, Options{Shoot: dir, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- s.Serve() }()
	b := opened(t, s)
	b.until(`document.documentElement.dataset.live && document.querySelector("[data-view=view-01] [data-do=out]")`)
	b.do(cd.Click(cd.CSS(`[data-view=view-01] [data-do=out]`)))
	b.until(`document.querySelector("[data-do=undo]").title.includes("left out")`)
	v := visit(t, s)
	v.must("/decide/view-02", map[string]any{"room_ev": .4, "what": "light"})
	v.must("/deliver", map[string]any{"sheets": []string{"print"}})
	s.http.Close() // every connection at once
	kill()
	<-ended
	b.until(`document.getElementById("said").textContent.includes("has stopped")`)
	d := read(t, dir)
	if !d.View("view-01").Decisions.LeaveOut || d.View("view-02").Decisions.RoomEV == nil {
		t.Error("what was done is lost")
	}
	v = visit(t, running(t, Options{Shoot: dir}))
	v.must("/undo", struct{}{})
	v.must("/undo", struct{}{})
	if got := order(t, dir); strings.Contains(got, "-") {
		t.Errorf("undone in the next run the order is %s", got)
	}
}

// Without a shoot: a card is taken in, with the safe copy twice, and the walk opens.
func TestTakeInBrowser(t *testing.T) {
	house1(t) // makes the card
	to, second := filepath.Join(t.TempDir(), "visit"), filepath.Join(t.TempDir(), "second")
	s := running(t, Options{Roots: []string{filepath.Join(master.root, "*")}, Config: t.TempDir()})
	b := opened(t, s)
	b.until(`document.documentElement.dataset.live && document.getElementById("take")`)
	if card := b.ask(`document.querySelector("[name=Card]").value`); card != filepath.Join(master.root, "card") {
		t.Errorf("the card that is plugged in is said to be %q", card)
	}
	b.ask(`(document.querySelector("[name=To]").value = ` + fmt.Sprintf("%q", to) + `, document.querySelector("[name=Second]").value = ` + fmt.Sprintf("%q", second) + `)`)
	b.do(cd.Click(cd.CSS(`#take button`)))
	b.until(`document.querySelectorAll(".view img").length === 3`)
	for _, dir := range []string{filepath.Join(to, "originals"), second} {
		if _, err := os.Stat(filepath.Join(dir, "manifest")); err != nil {
			t.Error(err)
		}
	}
	b.do(cd.Navigate(b.base + "/start"))
	b.until(`document.querySelector("[data-do=open]")?.dataset.dir === ` + fmt.Sprintf("%q", to))

	// What is wrong is said in words.
	v := visit(t, s)
	for _, q := range []map[string]string{{"card": "", "to": to}, {"card": "relative", "to": to}} {
		if status, answer := v.post("/take", q); status != 400 {
			t.Errorf("%v is answered %d %s", q, status, answer)
		}
	}
	if status, answer := v.post("/enter", map[string]string{"dir": t.TempDir()}); status != 400 || !strings.Contains(answer, "no shoot folder") {
		t.Errorf("a folder that is no shoot is answered %d %s", status, answer)
	}
}
