package studio

import (
	"strings"
	"testing"

	cd "github.com/chromedp/chromedp"
)

// faults lists what WCAG 2.2 AA would object to on a page, as far as a script can see:
// text under 4.5:1 against the grey behind it, 3:1 when large (1.4.3; the formula of
// relative luminance is the standard's), controls without a name (4.1.2), pictures
// without alternative text (1.1.1), one id twice, and no first heading.
const faults = `(() => {
	const bad = [];
	const lum = (c) => { const f = c.map(v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
	const rgba = (s) => (s.match(/[\d.]+/g) || [0, 0, 0, 0]).map(Number);
	const over = (a, b) => { const t = a[3] === undefined ? 1 : a[3]; return [0, 1, 2].map(i => a[i] * t + b[i] * (1 - t)); };
	const behind = (e) => { const chain = []; for (let n = e; n; n = n.parentElement) chain.unshift(rgba(getComputedStyle(n).backgroundColor)); return chain.reduce((b, c) => over(c, b), [255, 255, 255]); };
	const shown = (e) => e.checkVisibility({checkOpacity: true, checkVisibilityCSS: true}) && e.getClientRects().length > 0;
	const ratio = (s, bg) => { const fg = over(rgba(s.color), bg); const [a, b] = [lum(fg), lum(bg)].sort((x, y) => y - x); return (a + 0.05) / (b + 0.05); };
	const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	let texts = 0;
	for (let n; (n = walker.nextNode());) {
		const e = n.parentElement;
		if (!n.textContent.trim() || !shown(e) || e.closest(":disabled, .seen-by-readers, option, script, .busy")) continue;
		texts++;
		const s = getComputedStyle(e), r = ratio(s, behind(e));
		if (r < (parseFloat(s.fontSize) >= 24 ? 3 : 4.5)) bad.push("contrast " + r.toFixed(2) + ": " + n.textContent.trim().slice(0, 40));
	}
	for (const e of document.querySelectorAll("input, select")) {
		if (!shown(e) || e.disabled || e.type === "range" || e.type === "checkbox" || e.type === "radio") continue;
		const r = ratio(getComputedStyle(e, e.value ? null : "::placeholder"), behind(e));
		if (r < 4.5) bad.push("contrast " + r.toFixed(2) + " in a field: " + e.outerHTML.slice(0, 90));
		const s = getComputedStyle(e), edge = ratio({color: s.borderBottomColor}, behind(e.parentElement));
		if (!e.classList.contains("room-name") && edge < 3) bad.push("the edge of a field stands out by " + edge.toFixed(2) + " only: " + e.outerHTML.slice(0, 90)); // 1.4.11
	}
	for (const e of document.querySelectorAll("a[href], button, input, select, textarea, [tabindex]")) {
		if (!shown(e)) continue;
		const label = e.labels && [...e.labels].map(l => l.textContent).join(" ") || "";
		const image = [...e.querySelectorAll("img")].map(i => i.alt).join(" ");
		if (!(e.getAttribute("aria-label") || label + e.textContent + image).trim()) bad.push("no name: " + e.outerHTML.slice(0, 90));
	}
	for (const i of document.querySelectorAll("img")) if (i.getAttribute("alt") === null) bad.push("no alternative text: " + i.src);
	const ids = [...document.querySelectorAll("[id]")].map(e => e.id);
	for (const id of new Set(ids)) if (ids.filter(x => x === id).length > 1) bad.push("id twice: " + id);
	if (document.querySelectorAll("h1").length !== 1) bad.push(document.querySelectorAll("h1").length + " first headings");
	if (texts < 5) bad.push("only " + texts + " texts were looked at");
	return bad.join("\n");
})()`

// pages are all pages with what says that they are there.
var pages = map[string]string{
	"/":             `document.querySelectorAll(".view img").length === 3`,
	"/start":        `document.getElementById("take") && document.documentElement.dataset.live`,
	"/deliver":      `document.querySelector("[name=To]") && document.documentElement.dataset.live`,
	"/view/view-02": `document.getElementById("main").dataset.key && document.querySelectorAll("#findings li").length`,
}

// richHouse is a studio whose pages show all they can: a view left out, findings, an
// edit, a delivery that was made and one picture more than was agreed on.
func richHouse(t *testing.T) *Server {
	t.Helper()
	s := running(t, Options{Shoot: house1(t), Home: t.TempDir(), Config: t.TempDir(), Keys: t.TempDir()})
	v := visit(t, s)
	v.must("/edit/view-02", painted{Action: "remove", Kind: "cord", Points: [][2]float64{{.55, .75}, {.62, .8}}, Width: .014})
	v.must("/pack", map[string]any{"count": 1})
	v.must("/deliver", map[string]any{"sheets": []string{"listing"}})
	if j := v.ended(s); j.State != "done" {
		t.Fatalf("%+v", j)
	}
	v.must("/decide/view-01", map[string]any{"out": true, "what": "left out view-01"})
	return s
}

func TestAccessible(t *testing.T) {
	b := opened(t, richHouse(t))
	for _, size := range [][2]int64{{1440, 900}, {820, 1180}, {390, 840}} {
		b.do(cd.EmulateViewport(size[0], size[1]))
		for path, ready := range pages {
			b.do(cd.Navigate(b.base + path))
			b.until(ready)
			tools := []string{""}
			if strings.HasPrefix(path, "/view/") {
				tools = []string{"look", "light", "white", "upright", "remove", "soften", "compare"}
			}
			for _, tool := range tools {
				if tool != "" {
					b.do(cd.Click(cd.CSS("input[value=" + tool + "]")))
				}
				b.ask(`(document.getElementById("said").textContent = "Said in the test.", 1)`)
				if bad := b.ask(faults); bad != "" {
					t.Errorf("%s %s at %d x %d:\n%s", path, tool, size[0], size[1], bad)
				}
			}
			if strings.HasPrefix(path, "/view/") { // brackets of five are usual, the test's has three
				b.ask(`(l => { while (l.children.length < 5) l.append(l.lastElementChild.cloneNode(true)); return 1 })(document.getElementById("ladder"))`)
			}
			if wide := b.ask(`document.documentElement.scrollWidth > innerWidth`); wide == "true" {
				t.Errorf("%s is wider than a window of %d pixels (1.4.10)", path, size[0])
			}
		}
	}
}

// tabbed notes of what has the focus: whether it has a name, shows that it has the focus
// (2.4.7) and lies in sight (2.4.11); it answers with what is wrong.
const tabbed = `(() => {
	const e = document.activeElement;
	if (e === document.body) return "end";
	window.reached ||= new Set();
	if (window.reached.has(e)) return "end";
	window.reached.add(e);
	const bad = [];
	const name = e.getAttribute("aria-label") || [...(e.labels || [])].map(l => l.textContent).join(" ") + e.textContent + [...e.querySelectorAll("img")].map(i => i.alt).join(" ");
	if (!name.trim()) bad.push("has no name");
	const ring = (n) => n && getComputedStyle(n).outlineStyle === "solid" && parseFloat(getComputedStyle(n).outlineWidth) >= 2;
	if (!ring(e) && !ring(e.nextElementSibling)) bad.push("does not show its focus");
	const box = (e.type === "radio" ? e.parentElement : e).getBoundingClientRect();
	if (box.width < 1 || box.bottom < 1 || box.top > innerHeight - 1 || box.right < 1 || box.left > innerWidth - 1) bad.push("lies out of sight");
	return bad.length ? bad.join(", ") + ": " + e.outerHTML.slice(0, 120) : "";
})()`

// Every control of every page is reached with the Tab key, has a name, is in sight then
// and shows that it has the focus.
func TestKeysReachEverything(t *testing.T) {
	b := opened(t, richHouse(t))
	for path, ready := range pages {
		b.do(cd.Navigate(b.base + path))
		b.until(ready)
		b.ask(`(document.activeElement.blur(), 1)`)
		want := b.ask(`[...document.querySelectorAll("a[href], button:enabled, input:enabled, select, summary, [tabindex]")].filter(e => e.checkVisibility() && e.tabIndex >= 0 && !(e.type === "radio" && !e.checked)).length`)
		for range 200 {
			b.do(cd.KeyEvent("\t"))
			said := b.ask(tabbed)
			if said == "end" {
				break
			}
			if said != "" {
				t.Errorf("%s: %s", path, said)
			}
		}
		if got := b.ask(`[...window.reached].length`); got != want {
			t.Errorf("%s: Tab reaches %s of %s controls", path, got, want)
		}
	}
}

// What happens is told in a live region: to those who see, and to those who only listen.
func TestLiveRegions(t *testing.T) {
	s := richHouse(t)
	b := opened(t, s)
	b.until(pages["/"])
	told := func(words string) {
		t.Helper()
		b.until(`[...document.querySelectorAll("[role=status][aria-live=polite]")].some(p => p.textContent.includes("` + words + `"))`)
	}
	b.do(cd.Click(cd.CSS(`[data-view=view-01] [data-do=in]`)))
	told("Brought back view-01.")
	b.do(cd.Click(cd.CSS(`[data-do=undo]`)))
	told("Taken back.")
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(pages["/view/view-02"])
	b.do(cd.Focus(cd.CSS("#sheet")), cd.KeyEvent(keyUp))
	told("Room light +0.10 EV")
	told("Room light changed.")
	b.do(cd.KeyEvent("f"))
	told("Full size.")
	b.do(cd.Navigate(b.base + "/deliver"))
	b.until(pages["/deliver"])
	b.do(cd.Click(cd.CSS(`[data-do=make]`)))
	told("Done. Every file was read back")
}

// Nothing moves by itself for those who asked for less motion (2.3.3).
func TestReducedMotion(t *testing.T) {
	b := opened(t, richHouse(t), cd.Flag("force-prefers-reduced-motion", true))
	if b.ask(`matchMedia("(prefers-reduced-motion: reduce)").matches`) != "true" {
		t.Fatal("the browser does not ask for less motion")
	}
	for path, ready := range pages {
		b.do(cd.Navigate(b.base + path))
		b.until(ready)
		moving := b.ask(`[...document.querySelectorAll("*")].filter(e => { const s = getComputedStyle(e); return s.animationName !== "none" || s.transitionDuration.split(",").some(d => parseFloat(d) > 0) || s.scrollBehavior === "smooth"; }).map(e => e.outerHTML.slice(0, 80)).join("\n")`)
		if moving != "" {
			t.Errorf("%s moves:\n%s", path, moving)
		}
	}
}
