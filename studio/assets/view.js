// A view: one large picture. What is pointed at is changed; what is changed is sent whole.

import * as beside from "./beside.js";
import { el, facts, id, known, load } from "./facts.js";
import * as findings from "./findings.js";
import * as level from "./level.js";
import * as lights from "./lights.js";
import { checking, going, history, listen, post, say, typing } from "./net.js";
import * as tools from "./tools.js";
import * as zoom from "./zoom.js";

/** @typedef {import("./facts.js").Facts} Facts */

/** The head of the page: where this picture stands, and what can be taken back.
 * @param {Facts} f */
function head(f) {
	const s = f.standing;
	const h1 = /** @type {HTMLElement} */ (document.querySelector("h1"));
	h1.textContent = s.Name;
	/** @type {HTMLElement} */ (document.querySelector(".sum")).textContent = s.Where;
	for (const [name, to] of [["before", s.Before], ["next", s.Next]]) {
		const a = /** @type {HTMLAnchorElement} */ (el(name));
		a.hidden = !to;
		if (to) a.href = "/view/" + to;
	}
	const out = /** @type {HTMLElement} */ (document.querySelector(".top [data-do=out]"));
	out.textContent = s.OutWords;
	past(f.history);
	going(f.checking);
}

/** @param {Facts["history"]} h */
function past(h) {
	const box = document.querySelector(".history");
	if (!(box instanceof HTMLElement)) return;
	box.dataset.rev = h.Rev;
	for (const [what, of, verb] of [["undo", h.Undo, "Take back: "], ["redo", h.Redo, "Do again: "]]) {
		const b = box.querySelector(`[data-do=${what}]`);
		if (!(b instanceof HTMLButtonElement)) continue;
		b.disabled = !of;
		b.title = of ? verb + of : "";
		const span = b.querySelector(".of");
		if (span) span.textContent = of;
	}
}

/** Gives this view's lights to others. @param {string} to */
async function spread(to) {
	const a = await post("/spread/" + id, { to });
	if (a) say(a.views ? `${a.views} other ${a.views === 1 ? "view has" : "views have"} these lights now. Undo takes it back.` : "There is no other view to give them to.");
	await load();
}

/** Leaves the view out, or brings it back. */
async function inOrOut() {
	const out = facts?.standing.OutWords === "Leave out";
	if (await post("/decide/" + id, { out, what: (out ? "left out " : "brought back ") + id })) {
		say(out ? "Left out: it is not delivered. It stays in the shoot." : "Brought back: it is delivered again.");
	}
	await load();
}

document.addEventListener("click", (e) => {
	const b = /** @type {HTMLElement} */ (e.target).closest("[data-do]");
	if (!(b instanceof HTMLElement)) return;
	switch (b.dataset.do) {
	case "measured": return lights.measured(b.dataset.part || "");
	case "to-room": return spread("room");
	case "to-house": return spread("house");
	case "out": return inOrOut();
	}
});

// The page by keys: the next picture, the one before.
document.addEventListener("keydown", (e) => {
	if (typing(e.target)) return;
	if (e.key === "PageDown") document.getElementById("next")?.click();
	if (e.key === "PageUp") document.getElementById("before")?.click();
});

known(head);
for (const part of [lights, level, beside, zoom, tools, findings]) part.begin();
history(load);
listen((e) => {
	checking(e, load);
	const rev = document.querySelector(".history")?.getAttribute("data-rev");
	if (e.kind === "changed" && String(e.rev) !== rev && !tools.active() && !level.held()) load();
}, load);
tools.setTool("light");
load();
