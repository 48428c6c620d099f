package studio

import (
	"encoding/json"
	"testing"

	cd "github.com/chromedp/chromedp"
)

func quoted(s string) string {
	b, err := json.Marshal(s)
	if err != nil {
		panic(err)
	}
	return string(b)
}

// longest is the longest sentence that the pages say of themselves.
const longest = "Taken out. The unaltered picture will be delivered beside it. Whether it may be published is for local law and the listing service to decide."

// covered lists the controls, pictures and headings that the strip's words lie over when
// the page is at its top, and those it could cover at its end; the strip must not grow,
// since what lies above it would be covered then.
const covered = `((words) => {
	const strip = document.querySelector(".strip"), said = document.getElementById("said");
	said.textContent = "";
	const empty = strip.getBoundingClientRect();
	said.textContent = words;
	const full = strip.getBoundingClientRect(), bad = [];
	if (Math.abs(full.height - empty.height) > 0.5) bad.push("it grows from " + empty.height + " to " + full.height);
	const text = document.createRange();
	text.selectNodeContents(said);
	const t = text.getBoundingClientRect();
	if (t.top < full.top || t.bottom > full.bottom + 0.5 || t.left < 0 || t.right > innerWidth) bad.push("the words leave the strip");
	const over = (r) => r.width > 0 && r.height > 0 && r.left < t.right && r.right > t.left && r.top < t.bottom && r.bottom > t.top;
	let looked = 0;
	const look = (css, where) => {
		for (const e of document.querySelectorAll(css)) {
			if (!e.checkVisibility() || e.closest(".strip, .skip, .seen-by-readers")) continue;
			looked++;
			if (over(e.getBoundingClientRect())) bad.push(where + " it covers " + e.outerHTML.slice(0, 80));
		}
	};
	scrollTo(0, 0);
	look(".history button, .top a, .top button, h1, .sum, #sheet", "at the top");
	scrollTo(0, document.documentElement.scrollHeight);
	look("main button, main input, main select, main a, main img, main p, main li", "at the end");
	scrollTo(0, 0);
	if (looked < 8) bad.push("only " + looked + " things were looked at");
	return bad.join("\n");
})`

// What the page says covers nothing: neither Undo nor the picture, nor, with the page
// scrolled to its end, anything else.
func TestStripCoversNothing(t *testing.T) {
	b := opened(t, richHouse(t))
	for _, size := range [][2]int64{{1440, 900}, {820, 1180}, {390, 840}} {
		b.do(cd.EmulateViewport(size[0], size[1]))
		for path, ready := range pages {
			b.do(cd.Navigate(b.base + path))
			b.until(ready)
			if bad := b.ask(covered + "(" + quoted(longest) + ")"); bad != "" {
				t.Errorf("%s at %d x %d:\n%s", path, size[0], size[1], bad)
			}
		}
		// On a wide window all that a view offers is in sight beside the strip.
		if size[0] < 1440 {
			continue
		}
		b.do(cd.Navigate(b.base + "/view/view-02"))
		b.until(pages["/view/view-02"])
		for _, tool := range []string{"look", "light", "white", "upright", "remove", "soften", "compare"} {
			b.do(cd.Click(cd.CSS("input[value=" + tool + "]")))
			b.ask(`(scrollTo(0, 0), 1)`)
			low := b.ask(`(s => [...document.querySelectorAll(".lights *, .tools *")].filter(e => e.checkVisibility() && e.getBoundingClientRect().bottom > s).map(e => e.outerHTML.slice(0, 60)).join("\n"))(document.querySelector(".strip").getBoundingClientRect().top)`)
			if low != "" {
				t.Errorf("%s: under the strip lie\n%s", tool, low)
			}
		}
	}
}
