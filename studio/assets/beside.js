// Another picture in the place of this one, as long as something is held, or beside it.

import { busy, el, facts, id, known, sheet, signed, swap } from "./facts.js";
import { typing } from "./net.js";

/** @typedef {import("./facts.js").Facts} Facts */

/** @type {HTMLImageElement} */
const other = el("other");

/** A picture of nothing, until there is one: a browser frames an empty picture. */
const nothing = "data:image/gif;base64,R0lGODlhAQABAAAAACwAAAAAAQABAAA=";

// The ladder of exposures.

/** @param {Facts} f */
function ladder(f) {
	const list = el("ladder");
	const key = f.frames.map((r) => r.key).join();
	if (list.dataset.key === key) return;
	list.dataset.key = key;
	const old = [...list.children].reverse();
	list.replaceChildren(...f.frames.map((_, n) => rung(f, n, old.length === f.frames.length ? old[n].querySelector("img") : null)).reverse());
	fill(list, f, key);
}

/** Gets the exposures one after the other: what a person does meanwhile goes first.
 * @param {HTMLElement} list @param {Facts} f @param {string} key */
async function fill(list, f, key) {
	for (const b of /** @type {NodeListOf<HTMLElement>} */ (list.querySelectorAll("button"))) {
		const img = b.querySelector("img"), n = Number(b.dataset.n);
		if (img) await swap(img, `/exposure/${id}/${n}?k=${f.frames[n].key}`);
		if (list.dataset.key !== key) return;
	}
}

/** One exposure. Its picture before, if there was one, stays until the new one is there.
 * @param {Facts} f @param {number} n @param {HTMLImageElement | null} was */
function rung(f, n, was) {
	const r = f.frames[n];
	const li = document.createElement("li");
	const b = document.createElement("button");
	b.type = "button";
	b.dataset.n = String(n);
	b.className = "rung hold" + (r.used ? "" : " unused");
	b.dataset.do = "exposure";
	b.setAttribute("aria-label", `Hold to see the exposure at ${signed(r.ev, 1)} EV${r.time ? ", " + r.time : ""}${r.used ? "" : ", not used: " + r.why}`);
	if (!r.used) b.title = "Not used: " + r.why;
	const img = was || document.createElement("img");
	if (!was) img.src = nothing;
	img.alt = "";
	img.draggable = false;
	img.style.aspectRatio = f.size[0] + " / " + f.size[1]; // nothing moves when it arrives
	const words = document.createElement("span");
	words.append(Object.assign(document.createElement("span"), { textContent: signed(r.ev, 1) + " EV" }));
	if (r.time) words.append(Object.assign(document.createElement("span"), { textContent: r.time }));
	b.append(img, words);
	li.append(b);
	return li;
}

const middle = () => {
	if (!facts) return 0;
	let best = 0;
	facts.frames.forEach((r, n) => { if (Math.abs(r.ev) < Math.abs(/** @type {Facts} */ (facts).frames[best].ev)) best = n; });
	return best;
};

// Holding: another picture as long as a button or a key is down.

const measured = "room_ev=0&window_ev=0&room_mired=0&window_mired=0&room_duv=0&window_duv=0";

/** @param {string} what @param {HTMLElement} [b] */
function address(what, b) {
	if (!facts) return "";
	switch (what) {
	case "unaltered": return `/live/${id}?unaltered=1&k=${facts.key}`;
	case "measured": return `/live/${id}?${measured}&k=${facts.key}`;
	case "middle": return `/exposure/${id}/${middle()}?k=${facts.frames[middle()].key}`;
	case "exposure": {
		const n = Number(b?.dataset.n);
		return `/exposure/${id}/${n}?k=${facts.frames[n].key}`;
	}
	}
	return "";
}

/** What tiles of another picture are asked for with. @param {string} what */
function details(what) {
	switch (what) {
	case "unaltered": return "unaltered=1";
	case "measured": return measured;
	case "middle": return "exposure=" + middle();
	}
	return "";
}

const layer = el("other-tiles");

/** Shows the other picture, or hides it: the part left of a line, with its tiles.
 * @param {string} tiles what its tiles are asked for with; none are shown without
 * @param {number} [right] what is cut off on the right, per cent */
function put(tiles, right = 0) {
	other.style.clipPath = layer.style.clipPath = right ? `inset(0 ${right}% 0 0)` : "";
	other.hidden = false;
	layer.hidden = !tiles;
	if (sheet.dataset.other !== tiles) sheet.dataset.other = tiles;
}

function away() {
	other.hidden = true;
	layer.hidden = true;
	delete sheet.dataset.other;
}

let held = "";
/** @param {string} what @param {HTMLElement} [b] */
async function hold(what, b) {
	const src = address(what, b);
	if (!src || held === src) return;
	held = src;
	busy(true);
	await swap(other, src);
	busy(false);
	if (held !== src) return;
	put(what === "unaltered" ? details(what) : ""); // exposures are held for a moment only
	sheet.dataset.shown = what;
}

function release() {
	if (!held) return;
	held = "";
	delete sheet.dataset.shown;
	if (beside()) compare();
	else away();
}

const holding = (/** @type {EventTarget | null} */ t) => {
	const b = t instanceof Element && t.closest(".hold");
	return b instanceof HTMLElement ? b : null;
};

/** @param {KeyboardEvent} e */
function keyDown(e) {
	if (typing(e.target) || e.ctrlKey || e.metaKey || e.altKey) return;
	const b = holding(e.target);
	if (b && (e.key === "Enter" || e.key === " ")) {
		e.preventDefault();
		hold(b.dataset.do || "", b);
	} else if (e.key === "u") hold("unaltered");
	else if (e.key === "m") hold("middle");
}

// Before and after, with a line between.

let on = false;

/** Reports whether two pictures stand side by side. */
export const beside = () => on;

export async function compare() {
	const which = /** @type {HTMLSelectElement} */ (el("beside")).value;
	const src = address(which);
	if (!src) return;
	on = true;
	sheet.dataset.beside = which;
	busy(true);
	await swap(other, src);
	busy(false);
	if (!beside() || held) return;
	divide();
}

export function noCompare() {
	on = false;
	delete sheet.dataset.beside;
	sheet.style.removeProperty("--divide");
	away();
}

/** Draws the line where the divider stands: before on the left, after on the right. */
function divide() {
	const at = Number(/** @type {HTMLInputElement} */ (el("divider")).value) / 10;
	put(details(sheet.dataset.beside || ""), 100 - at);
	sheet.style.setProperty("--divide", at + "%");
}
/** Moves the divider to a place of the picture.
 * @param {number} x in shares of the width */
export function divideAt(x) {
	/** @type {HTMLInputElement} */ (el("divider")).value = String(Math.round(1000 * x));
	divide();
}

/** The ears. */
export function begin() {
	known((f) => {
		ladder(f);
		if (beside()) compare();
	});
	document.addEventListener("pointerdown", (e) => {
		const b = holding(e.target);
		if (b) hold(b.dataset.do || "", b);
	});
	for (const end of ["pointerup", "pointercancel", "blur"]) addEventListener(end, release);
	document.addEventListener("keydown", keyDown);
	document.addEventListener("keyup", release);
	el("divider").addEventListener("input", divide);
	el("beside").addEventListener("change", compare);
}
