// Looking closer: fit, half, full size. The place under the pointer stays where it is.
// What is shown first is the picture that is there, enlarged; its details arrive in tiles
// on top of it, so that nothing goes blank.

import { busy, el, facts, id, known, picture, sheet } from "./facts.js";
import { tell, typing } from "./net.js";

/** @typedef {import("./facts.js").Place} Place */
/** @typedef {import("./facts.js").Facts} Facts */
/** @typedef {"fit" | "half" | "full"} Level */

/** @type {Level[]} */
const levels = ["fit", "half", "full"];
const words = { fit: "The whole picture.", half: "Half size.", full: "Full size." };
const edge = 512; // of a tile, in pixels of the picture

const pane = el("pane");
const stage = el("stage");

/** @type {Level} */
export let level = "fit";

/** How many CSS pixels a pixel of the picture takes. @param {Level} l */
const scale = (l) => (l === "full" ? 1 : 0.5) / (devicePixelRatio || 1);

/** Where the pointer is over the picture, in the window. @type {{x: number, y: number} | null} */
let pointer = null;

/** Shows the picture at another size.
 * @param {Level} to
 * @param {Place} [at] the place that is looked at; what is under the pointer, or in the middle, when left out */
export function zoomTo(to, at) {
	if (!facts) return;
	const frame = pane.getBoundingClientRect();
	const middle = { x: frame.left + frame.width / 2, y: frame.top + frame.height / 2 };
	const hold = at || !pointer ? middle : pointer;
	const was = sheet.getBoundingClientRect();
	const place = at || { x: (hold.x - was.left) / was.width, y: (hold.y - was.top) / was.height };
	level = to;
	if (to !== "fit") stage.style.setProperty("--h", pane.clientHeight + "px");
	stage.classList.toggle("near", to !== "fit");
	sheet.style.setProperty("--w", facts.size[0] * scale(to) + "px");
	const now = sheet.getBoundingClientRect(), box = pane.getBoundingClientRect();
	const target = at || !pointer ? { x: box.left + box.width / 2, y: box.top + box.height / 2 } : hold;
	pane.scrollBy({ left: now.left + place.x * now.width - target.x, top: now.top + place.y * now.height - target.y, behavior: "instant" });
	for (const b of document.querySelectorAll("[data-do=size]")) b.setAttribute("aria-pressed", String(/** @type {HTMLElement} */ (b).dataset.size === to));
	dispatchEvent(new Event("resize")); // what is drawn over the picture is drawn anew
	tiles();
	tell(words[to]);
}

/** One step closer or away. @param {number} by */
function step(by) {
	const to = levels[levels.indexOf(level) + by];
	if (to) zoomTo(to);
}

/** From the whole picture to full size and back. @param {Place} [at] */
export const toggle = (at) => zoomTo(level === "fit" ? "full" : "fit", at);

/** Moves the picture under the window. @param {number} x @param {number} y in CSS pixels */
export function pan(x, y) {
	pane.scrollBy({ left: x, top: y, behavior: "instant" });
}

/** Brings a place into sight. @param {Place} p */
export function reveal(p) {
	if (level === "fit") return;
	const box = pane.getBoundingClientRect(), s = sheet.getBoundingClientRect();
	const x = s.left + p.x * s.width, y = s.top + p.y * s.height, rim = 40;
	pan(Math.min(0, x - box.left - rim) + Math.max(0, x - box.right + rim), Math.min(0, y - box.top - rim) + Math.max(0, y - box.bottom + rim));
}

// The tiles that can be seen.

/** Tiles of one picture in their layer. */
class Layer {
	/** @param {HTMLElement} box */
	constructor(box) {
		this.box = box;
		/** @type {Map<string, HTMLImageElement>} */
		this.shown = new Map();
		this.of = "";
	}

	/** Asks for what is in sight and lets go of what was of another picture.
	 * @param {string} query what tiles are asked for with; none are wanted without */
	show(query) {
		if (query !== this.of) {
			for (const i of this.shown.values()) i.remove();
			this.shown.clear();
			this.of = query;
		}
		const f = facts;
		if (!f || !query || level === "fit") return;
		const size = edge * scale(level), box = pane.getBoundingClientRect(), s = sheet.getBoundingClientRect();
		const first = (/** @type {number} */ v) => Math.max(0, Math.floor(v / size));
		const last = (/** @type {number} */ v, /** @type {number} */ pixels) => Math.min(Math.ceil(pixels / edge) - 1, Math.floor(v / size));
		for (let r = first(box.top - s.top); r <= last(box.bottom - s.top, f.size[1]); r++) {
			for (let c = first(box.left - s.left); c <= last(box.right - s.left, f.size[0]); c++) this.tile(f, c, r);
		}
	}

	/** @param {Facts} f @param {number} c @param {number} r */
	async tile(f, c, r) {
		const name = c + " " + r, query = this.of;
		if (this.shown.has(name)) return;
		const i = new Image();
		this.shown.set(name, i);
		i.alt = "";
		i.draggable = false;
		const share = (/** @type {number} */ v, /** @type {number} */ of) => 100 * v / of + "%";
		i.style.left = share(c * edge, f.size[0]);
		i.style.top = share(r * edge, f.size[1]);
		i.style.width = share(Math.min(edge, f.size[0] - c * edge), f.size[0]);
		i.style.height = share(Math.min(edge, f.size[1] - r * edge), f.size[1]);
		i.src = `/tile/${id}/${c}/${r}?${query}`;
		busy(true);
		try {
			await i.decode();
			if (query === this.of) this.box.append(i);
		} catch {
			if (this.shown.get(name) === i) this.shown.delete(name);
		}
		busy(false);
	}
}

const finished = new Layer(el("tiles")), before = new Layer(el("other-tiles"));

/** The tiles of the picture, and of the one beside it. */
function tiles() {
	const key = facts && "k=" + facts.key, other = sheet.dataset.other;
	finished.show(key || "");
	before.show(key && other ? key + "&" + other : "");
}

// Hands and keys.

/** @type {{x: number, y: number} | null} */
let grip = null;

/** The middle button moves the picture, whatever the pointer does else. */
function middleButton() {
	pane.addEventListener("pointerdown", (e) => {
		if (e.button !== 1 || level === "fit") return;
		e.preventDefault();
		pane.setPointerCapture(e.pointerId);
		grip = { x: e.clientX, y: e.clientY };
	});
	pane.addEventListener("pointermove", (e) => {
		if (!grip) return;
		pan(grip.x - e.clientX, grip.y - e.clientY);
		grip = { x: e.clientX, y: e.clientY };
	});
	for (const end of ["pointerup", "pointercancel"]) pane.addEventListener(end, () => { grip = null; });
}

/** The ears. */
export function begin() {
	known((f) => {
		const half = f.size[0] * scale("half");
		const b = /** @type {HTMLButtonElement} */ (document.querySelector("[data-size=half]"));
		b.disabled = level === "fit" && half <= sheet.clientWidth;
		if (level !== "fit") sheet.style.setProperty("--w", f.size[0] * scale(level) + "px");
		tiles();
	});
	document.addEventListener("click", (e) => {
		const b = /** @type {HTMLElement} */ (e.target).closest("[data-do=size]");
		if (b instanceof HTMLElement) zoomTo(/** @type {Level} */ (b.dataset.size));
	});
	document.addEventListener("keydown", (e) => {
		if (typing(e.target) || e.ctrlKey || e.metaKey || e.altKey) return;
		if (e.key === "f" && !e.repeat) toggle();
		else if (e.key === "+" || e.key === "=") step(1);
		else if (e.key === "-") step(-1);
	});
	pane.addEventListener("wheel", (e) => {
		if (!e.ctrlKey) return;
		e.preventDefault();
		pointer = { x: e.clientX, y: e.clientY };
		step(e.deltaY < 0 ? 1 : -1);
	}, { passive: false });
	for (const at of ["pointerdown", "pointermove"]) {
		sheet.addEventListener(at, (e) => { pointer = { x: /** @type {PointerEvent} */ (e).clientX, y: /** @type {PointerEvent} */ (e).clientY }; }, true);
	}
	sheet.addEventListener("pointerleave", () => { pointer = null; });
	middleButton();
	let waits = false;
	pane.addEventListener("scroll", () => {
		if (waits) return;
		waits = true;
		requestAnimationFrame(() => { waits = false; tiles(); });
	});
	addEventListener("resize", tiles);
	new MutationObserver(tiles).observe(sheet, { attributeFilter: ["data-other"] });
	picture.addEventListener("load", tiles);
}
