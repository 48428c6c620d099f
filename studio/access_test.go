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
	const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	let texts = 0;
	for (let n; (n = walker.nextNode());) {
		const e = n.parentElement;
		if (!n.textContent.trim() || !shown(e) || e.closest(":disabled, .seen-by-readers, option, script, .busy")) continue;
		texts++;
		const s = getComputedStyle(e), bg = behind(e), fg = over(rgba(s.color), bg);
		const [a, b] = [lum(fg), lum(bg)].sort((x, y) => y - x), ratio = (a + 0.05) / (b + 0.05);
		if (ratio < (parseFloat(s.fontSize) >= 24 ? 3 : 4.5)) bad.push("contrast " + ratio.toFixed(2) + ": " + n.textContent.trim().slice(0, 40));
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

func TestAccessible(t *testing.T) {
	dir := house1(t)
	s := running(t, Options{Shoot: dir, Home: t.TempDir(), Config: t.TempDir()})
	b := opened(t, s)
	visit(t, s).must("/decide/view-01", map[string]any{"out": true, "what": "left out view-01"})
	pages := map[string]string{
		"/":             `document.querySelectorAll(".view img").length === 3`,
		"/start":        `document.getElementById("take")`,
		"/deliver":      `document.querySelector("[data-do=make]")`,
		"/view/view-02": `document.getElementById("main").dataset.key`,
	}
	for path, ready := range pages {
		b.do(cd.Navigate(b.base + path))
		b.until(ready)
		tools := []string{""}
		if strings.HasPrefix(path, "/view/") {
			tools = []string{"light", "white", "upright", "remove", "soften", "compare"}
		}
		for _, tool := range tools {
			if tool != "" {
				b.do(cd.Click(cd.CSS("input[value=" + tool + "]")))
			}
			if bad := b.ask(faults); bad != "" {
				t.Errorf("%s %s:\n%s", path, tool, bad)
			}
		}
	}
}

// Every control can be reached with the Tab key, and what has the focus shows it.
func TestKeysReachEverything(t *testing.T) {
	b := opened(t, running(t, Options{Shoot: house1(t)}))
	b.do(cd.Navigate(b.base + "/view/view-02"))
	b.until(`document.getElementById("main").dataset.key`)
	want := b.ask(`[...document.querySelectorAll("a[href], button:enabled, input:enabled, select, [tabindex]")].filter(e => e.checkVisibility() && e.tabIndex >= 0 && !(e.type === "radio" && !e.checked)).length`)
	b.ask(`(document.body.focus(), window.reached = new Set(), document.addEventListener("focusin", e => window.reached.add(e.target)))`)
	for range 80 {
		b.do(cd.KeyEvent("\t"))
		if b.ask(`document.activeElement === document.body`) == "true" {
			break
		}
	}
	if got := b.ask(`[...window.reached].length`); got != want {
		t.Errorf("Tab reaches %s of %s controls", got, want)
	}
	b.do(cd.Focus(cd.CSS("#sheet")), cd.KeyEvent("\t"))
	if outline := b.ask(`getComputedStyle(document.activeElement).outlineStyle + getComputedStyle(document.activeElement.nextElementSibling || document.body).outlineStyle`); !strings.Contains(outline, "solid") {
		t.Errorf("the focus shows as %q", outline)
	}
}
