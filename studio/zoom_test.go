package studio

import (
	"bytes"
	"image/jpeg"
	"math"
	"strconv"
	"testing"

	cd "github.com/chromedp/chromedp"
)

// A press goes to full size and what was pressed on stays under the pointer; the details
// arrive in tiles over the picture that was there; dragging and arrows look around.
func TestLookCloserInBrowser(t *testing.T) {
	b := opened(t, running(t, Options{Shoot: house1(t)}))
	b.do(cd.EmulateViewport(460, 900)) // the test's pictures are small, so the window is
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(`document.getElementById("main").dataset.key && document.getElementById("picture").src.includes("/live/")`)
	number := func(js string) float64 {
		t.Helper()
		v, err := strconv.ParseFloat(b.ask(js), 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	near := func(what string, got, want, by float64) {
		t.Helper()
		if math.Abs(got-want) > by {
			t.Errorf("%s is %.3f, want %.3f", what, got, want)
		}
	}
	b.do(cd.Click(cd.CSS(`input[value=look]`)))
	b.ask(`document.getElementById("sheet").scrollIntoView({block: "nearest"})`)
	x, y, w, h := b.box("#sheet")
	px, py := x+.55*w, y+.45*h
	b.ask(`(window.blank = 0, new MutationObserver(() => { if (!picture.naturalWidth) window.blank++; }).observe(document.getElementById("stage"), {subtree: true, attributes: true, childList: true}), 1)`)
	b.do(cd.MouseClickXY(px, py))
	b.until(`document.querySelector(".near") && document.querySelector("[data-size=full]").getAttribute("aria-pressed") === "true"`)
	x, y, w, h = b.box("#sheet")
	full := number(`sheet.getBoundingClientRect().width`)
	if wide := number(`Number(getComputedStyle(sheet).getPropertyValue("--w").replace("px", ""))`); full != wide || full <= 500 {
		t.Errorf("at full size the picture is %.0f pixels wide, want %.0f", full, wide)
	}
	near("the place under the pointer", (px-x)/w, .55, .01)
	near("the place under the pointer, downwards", (py-y)/h, .45, .01)
	b.until(`document.querySelectorAll("#tiles img").length > 0 && [...document.querySelectorAll("#tiles img")].every(i => i.naturalWidth > 0)`)
	if n := b.ask(`window.blank`); n != "0" {
		t.Errorf("the picture was blank %s times", n)
	}

	at := func() (float64, float64) { return number(`pane.scrollLeft`), number(`pane.scrollTop`) }
	if number(`pane.scrollHeight - pane.clientHeight`) < 20 {
		t.Fatal("the picture is too small for this test")
	}
	b.ask(`(pane.scrollTo(0, 0), sheet.focus({preventScroll: true}), 1)`)
	b.do(cd.KeyEvent("\u0301")) // arrow down
	if _, top := at(); top <= 0 {
		t.Error("the arrow did not move the picture")
	}
	_, top := at()
	x, y, w, h = b.box("#pane")
	b.do(cd.DragAndDropXY(x+w/2, y+h/4, x+w/2, y+h/4+15, 4))
	if _, now := at(); math.Abs(top-now-15) > 2 {
		t.Errorf("dragged 15 pixels down it went from %.0f to %.0f", top, now)
	}
	b.do(cd.KeyEvent("\r"))
	b.until(`!document.querySelector(".near")`)
	b.do(cd.KeyEvent("+"))
	b.until(`document.querySelector("[data-size=half]").getAttribute("aria-pressed") === "true"`)
	b.do(cd.KeyEvent("f"))
	b.until(`document.querySelector("[data-size=fit]").getAttribute("aria-pressed") === "true"`)
}

// Tiles are the parts of the full-size picture, and there are none beyond its edges.
func TestTiles(t *testing.T) {
	s := running(t, Options{Shoot: house1(t)})
	v := visit(t, s)
	status, _, body := v.get("/tile/view-01/0/0")
	if status != 200 {
		t.Fatalf("the first tile is answered %d %s", status, body)
	}
	size := s.fulls.last[0].img
	columns, rows := (size.W+tileEdge-1)/tileEdge, (size.H+tileEdge-1)/tileEdge
	wide, high := 0, 0
	for c := range columns {
		img := tileAt(t, v, c, 0)
		wide += img[0]
	}
	for r := range rows {
		img := tileAt(t, v, 0, r)
		high += img[1]
	}
	if wide != size.W || high != size.H {
		t.Errorf("the tiles make %d x %d, the picture is %d x %d", wide, high, size.W, size.H)
	}
	for _, path := range []string{"/tile/view-01/" + strconv.Itoa(columns) + "/0", "/tile/view-01/-1/0", "/tile/view-01/x/0", "/tile/view-99/0/0"} {
		if status, _, _ := v.get(path); status != 404 {
			t.Errorf("%s is answered %d", path, status)
		}
	}
}

func tileAt(t *testing.T, v *visitor, c, r int) [2]int {
	t.Helper()
	_, _, body := v.get("/tile/view-01/" + strconv.Itoa(c) + "/" + strconv.Itoa(r))
	img, err := jpeg.Decode(bytes.NewReader([]byte(body)))
	if err != nil {
		t.Fatalf("tile %d, %d: %v", c, r, err)
	}
	return [2]int{img.Bounds().Dx(), img.Bounds().Dy()}
}

// Closer, both sides of the divider are shown in tiles of their own full-size pictures,
// whatever stands beside the finished one; each side's are the picture it says.
func TestCompareCloserInBrowser(t *testing.T) {
	s := running(t, Options{Shoot: house1(t)})
	v := visit(t, s)
	v.must("/decide/view-02", map[string]any{"room_ev": .5, "what": "room light"})
	b := opened(t, s)
	b.do(cd.EmulateViewport(460, 900))
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(`document.getElementById("main").dataset.key && document.getElementById("picture").src.includes("/live/")`)
	b.do(cd.Click(cd.CSS(`input[value=compare]`)), cd.Click(cd.CSS(`[data-size=full]`)))
	for _, beside := range []string{"unaltered", "middle", "measured"} {
		b.ask(`(s => { s.value = "` + beside + `"; s.dispatchEvent(new Event("change", {bubbles: true})); return 1 })(document.getElementById("beside"))`)
		query := map[string]string{"unaltered": "unaltered=1", "middle": "exposure=1", "measured": "room_ev=0"}[beside]
		b.until(`(l => l.length > 0 && [...l].every(i => i.naturalWidth > 0 && i.src.includes("` + query + `")))(document.querySelectorAll("#other-tiles img"))`)
		b.until(`document.querySelectorAll("#tiles img").length > 0 && document.getElementById("tiles").checkVisibility() && document.getElementById("other-tiles").checkVisibility()`)
		if a, o := b.ask(`document.getElementById("other").style.clipPath`), b.ask(`document.getElementById("other-tiles").style.clipPath`); a == "" || a != o {
			t.Errorf("%s: the picture is cut at %q, its tiles at %q", beside, a, o)
		}
	}
	_, _, lit := v.get("/tile/view-02/0/0")
	_, _, unlit := v.get("/tile/view-02/0/0?room_ev=0")
	_, _, plain := v.get("/tile/view-02/0/0?exposure=1")
	if lit == unlit || lit == plain || unlit == plain {
		t.Error("tiles of different pictures are the same")
	}
	for _, q := range []string{"exposure=3", "exposure=-1", "exposure=x"} {
		if status, _, _ := v.get("/tile/view-02/0/0?" + q); status != 404 {
			t.Errorf("%s is answered %d", q, status)
		}
	}
	b.do(cd.Click(cd.CSS(`input[value=look]`)))
	if b.ask(`document.getElementById("other-tiles").checkVisibility()`) == "true" {
		t.Error("the tiles beside stay when nothing is compared")
	}
}
