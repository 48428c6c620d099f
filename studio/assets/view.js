// A view: one large picture. What is pointed at is changed; what is changed is sent whole.

import { gone, history, listen, post, say, typing } from "./net.js";
import { begin, howTo, tools } from "./tools.js";

/**
 * @typedef {{ev: number, mired: number, duv: number, measured: number, kelvin: number}} Light
 * @typedef {{ev: number, used: boolean, why?: string, time?: string, key: string}} Frame
 * @typedef {{code: string, severity: string, message: string, do?: string, label?: string}} Finding
 * @typedef {{id: number, action: string, what: string, where: [number, number, number, number]}} Edit
 * @typedef {{id: string, key: string, room: Light, window: Light, glass: {w: number, h: number, data: string},
 *   level: {pitch: number, roll: number, yaw: number, by_hand: boolean, note: string},
 *   size: [number, number], preview: [number, number], frames: Frame[], findings: Finding[], edits: Edit[],
 *   history: {Rev: string, Undo: string, Redo: string}}} Facts
 */

/** @template {HTMLElement} T @param {string} id @returns {T} */
export const el = (id) => /** @type {T} */ (document.getElementById(id));

export const id = el("main").dataset.view || "";
/** @type {HTMLElement} */
export const sheet = el("sheet");
/** @type {HTMLImageElement} */
export const picture = el("picture");
/** @type {HTMLImageElement} */
const other = el("other");

/** @type {Facts | null} */
export let facts = null;
/** @type {Uint8Array | null} */
let glass = null;
/** The light that keys change. @type {"room" | "window"} */
export let chosen = "room";

// The facts.

let loading = Promise.resolve();

/** Asks for the facts and shows them and the picture. */
export function load() {
	loading = loading.then(async () => {
		busy(true);
		try {
			const r = await fetch("/facts/" + id);
			const answer = await r.json();
			if (!r.ok) return say(answer.error, 0);
			take(answer);
		} catch {
			gone();
		} finally {
			busy(false);
		}
	});
	return loading;
}

/** @param {Facts} f */
function take(f) {
	facts = f;
	glass = f.glass.w ? Uint8Array.from(atob(f.glass.data), (c) => c.charCodeAt(0)) : null;
	picture.width = f.preview[0];
	picture.height = f.preview[1];
	sheet.style.setProperty("--ratio", String(f.size[0] / f.size[1]));
	swap(picture, `/live/${id}?k=${f.key}`);
	el("main").dataset.key = f.key;
	el("light-window").hidden = !glass;
	if (!glass) chosen = "room";
	numbers(f.room, f.window);
	past(f.history);
	ladder(f);
	findings(f);
	edits(f);
	el("level").textContent = `Pitch ${signed(f.level.pitch, 2)}°, roll ${signed(f.level.roll, 2)}°${f.level.by_hand ? ", set by hand" : ""}`;
	if (beside()) compare();
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

/** Shows a picture when it is there whole, so that nothing flickers.
 * @param {HTMLImageElement} img @param {string} src */
async function swap(img, src) {
	const next = new Image();
	next.src = src;
	try {
		await next.decode();
	} catch {
		return;
	}
	img.src = src;
}

let waits = 0;
/** @param {boolean} on */
export function busy(on) {
	waits += on ? 1 : -1;
	clearTimeout(busy.timer);
	if (waits > 0) busy.timer = setTimeout(() => { el("busy").hidden = false; }, 250);
	else el("busy").hidden = true;
}
/** @type {number | undefined} */
busy.timer = undefined;

/** @param {number} v @param {number} digits */
export const signed = (v, digits) => (v > 0 ? "+" : v < 0 ? "−" : "±") + Math.abs(v).toFixed(digits);

/** The colour temperature that counts as white after a change of warmth.
 * @param {Light} l @param {number} mired */
export const kelvin = (l, mired) => Math.round(1e6 / Math.min(588, Math.max(40, 1e6 / l.measured - mired)));

/** @param {Light} room @param {Light} window */
export function numbers(room, window) {
	for (const [name, l] of /** @type {[string, Light][]} */ ([["room", room], ["window", window]])) {
		const box = el("light-" + name);
		field(box, "ev").value = l.ev.toFixed(2);
		field(box, "kelvin").value = String(kelvin(l, l.mired));
		box.classList.toggle("chosen", name === chosen);
	}
}

/** @param {HTMLElement} box @param {string} name @returns {HTMLInputElement} */
const field = (box, name) => /** @type {HTMLInputElement} */ (box.querySelector(`[name=${name}]`));

/** Chooses the light that keys change.
 * @param {"room" | "window"} which */
export function choose(which) {
	if (which === "window" && !glass) return;
	chosen = which;
	if (facts) numbers(facts.room, facts.window);
}

/** Reports whether a place of the picture shows the outside.
 * @param {number} x @param {number} y in shares of width and height */
export function outside(x, y) {
	if (!glass || !facts) return false;
	const { w, h } = facts.glass;
	const at = Math.min(h - 1, Math.floor(y * h)) * w + Math.min(w - 1, Math.floor(x * w));
	return glass[at] > 127;
}

// Trying: the picture follows the hand. One picture is asked for at a time, and always
// the latest that is wanted.

/** @type {string | null} */
let wanted = null;
let asking = false;

/** @param {Record<string, number>} change */
export function attempt(change) {
	wanted = "draft=1&" + new URLSearchParams(Object.entries(change).map(([k, v]) => [k, v.toFixed(3)])).toString();
	if (!asking) ask();
}

async function ask() {
	asking = true;
	while (wanted !== null) {
		const query = wanted;
		wanted = null;
		try {
			const r = await fetch(`/live/${id}?${query}`);
			if (!r.ok) break;
			const url = URL.createObjectURL(await r.blob());
			const before = picture.src;
			await swap(picture, url);
			if (before.startsWith("blob:")) URL.revokeObjectURL(before);
		} catch {
			break;
		}
	}
	asking = false;
}

/** Keeps a change.
 * @param {Record<string, unknown>} change @param {string} what for the undo button */
export async function decide(change, what) {
	wanted = null;
	if (!await post("/decide/" + id, { ...change, what: `${what} of ${id}` })) await load();
	else await load();
}

// Numbers that are typed.

document.addEventListener("change", (e) => {
	const input = e.target;
	const box = input instanceof HTMLInputElement && /** @type {HTMLElement | null} */ (input.closest("[data-light]"));
	if (!box || !facts) return;
	const which = box.dataset.light === "window" ? "window" : "room";
	const value = Number(input.value);
	if (!Number.isFinite(value) || input.value === "") return numbers(facts.room, facts.window);
	choose(which);
	if (input.name === "ev") decide({ [which + "_ev"]: Math.max(-8, Math.min(8, value)) }, which + " light");
	else decide({ [which + "_mired"]: 1e6 / facts[which].measured - 1e6 / Math.max(1700, Math.min(25000, value)) }, which + " white");
});
document.addEventListener("focusin", (e) => {
	const box = /** @type {HTMLElement} */ (e.target).closest("[data-light]");
	if (box instanceof HTMLElement) choose(box.dataset.light === "window" ? "window" : "room");
});

// The ladder of exposures.

/** @param {Facts} f */
function ladder(f) {
	const list = el("ladder");
	const key = f.frames.map((r) => r.key).join();
	if (list.dataset.key === key) return;
	list.dataset.key = key;
	list.replaceChildren(...f.frames.map((r, n) => {
		const li = document.createElement("li");
		const b = document.createElement("button");
		b.type = "button";
		b.dataset.n = String(n);
		b.className = "rung hold" + (r.used ? "" : " unused");
		b.dataset.do = "exposure";
		b.setAttribute("aria-label", `Hold to see the exposure at ${signed(r.ev, 1)} EV${r.time ? ", " + r.time : ""}${r.used ? "" : ", not used: " + r.why}`);
		if (!r.used) b.title = "Not used: " + r.why;
		const img = document.createElement("img");
		img.alt = "";
		img.loading = "lazy";
		img.draggable = false;
		img.width = 96;
		img.height = Math.round(96 * f.size[1] / f.size[0]);
		img.src = `/exposure/${id}/${n}?k=${r.key}`;
		const ev = document.createElement("span");
		ev.textContent = signed(r.ev, 1);
		b.append(img, ev);
		li.append(b);
		return li;
	}).reverse());
}

const middle = () => {
	if (!facts) return 0;
	let best = 0;
	facts.frames.forEach((r, n) => { if (Math.abs(r.ev) < Math.abs(/** @type {Facts} */ (facts).frames[best].ev)) best = n; });
	return best;
};

// Holding: another picture as long as a button or a key is down.

/** @param {string} what @param {HTMLElement} [b] */
function address(what, b) {
	if (!facts) return "";
	switch (what) {
	case "unaltered": return `/live/${id}?unaltered=1&k=${facts.key}`;
	case "measured": return `/live/${id}?room_ev=0&window_ev=0&room_mired=0&window_mired=0&room_duv=0&window_duv=0&k=${facts.key}`;
	case "middle": return `/exposure/${id}/${middle()}?k=${facts.frames[middle()].key}`;
	case "exposure": {
		const n = Number(b?.dataset.n);
		return `/exposure/${id}/${n}?k=${facts.frames[n].key}`;
	}
	}
	return "";
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
	other.style.clipPath = "";
	other.hidden = false;
	sheet.dataset.shown = what;
}

function release() {
	if (!held) return;
	held = "";
	delete sheet.dataset.shown;
	if (beside()) compare();
	else other.hidden = true;
}

const holding = (/** @type {EventTarget | null} */ t) => {
	const b = t instanceof Element && t.closest(".hold");
	return b instanceof HTMLElement ? b : null;
};
document.addEventListener("pointerdown", (e) => {
	const b = holding(e.target);
	if (b) hold(b.dataset.do || "", b);
});
for (const end of ["pointerup", "pointercancel", "blur"]) addEventListener(end, release);
document.addEventListener("keydown", (e) => {
	if (typing(e.target) || e.ctrlKey || e.metaKey || e.altKey) return;
	const b = holding(e.target);
	if (b && (e.key === "Enter" || e.key === " ")) {
		e.preventDefault();
		hold(b.dataset.do || "", b);
	} else if (e.key === "u") hold("unaltered");
	else if (e.key === "m") hold("middle");
	else if (e.key === "f" && !e.repeat) fullSize();
});
document.addEventListener("keyup", release);

// Before and after, with a line between.

const beside = () => !el("divider").hidden;

export async function compare() {
	const which = /** @type {HTMLSelectElement} */ (el("beside")).value;
	const src = address(which);
	if (!src) return;
	el("divider").hidden = false;
	busy(true);
	await swap(other, src);
	busy(false);
	if (!beside() || held) return;
	other.hidden = false;
	divide();
}

export function noCompare() {
	el("divider").hidden = true;
	sheet.style.removeProperty("--divide");
	other.hidden = true;
}

/** Draws the line where the divider stands: before on the left, after on the right. */
function divide() {
	const at = Number(/** @type {HTMLInputElement} */ (el("divider")).value) / 10;
	other.style.clipPath = `inset(0 ${100 - at}% 0 0)`;
	sheet.style.setProperty("--divide", at + "%");
}
el("divider").addEventListener("input", divide);
el("beside").addEventListener("change", compare);

/** Moves the divider to a place of the picture.
 * @param {number} x in shares of the width */
export function divideAt(x) {
	/** @type {HTMLInputElement} */ (el("divider")).value = String(Math.round(1000 * x));
	divide();
}

// Full size.

async function fullSize() {
	const b = document.querySelector("[data-do=full]");
	const stage = el("stage");
	const on = !stage.classList.contains("full");
	b?.setAttribute("aria-pressed", String(on));
	if (!on || !facts) {
		stage.classList.remove("full");
		return load();
	}
	busy(true);
	say("Making the picture at full size.", 0);
	const src = `/full/${id}?k=${facts.key}`;
	await swap(picture, src);
	busy(false);
	say("");
	if (!picture.src.endsWith(src)) return say("The picture could not be made at full size.");
	sheet.style.setProperty("--w", facts.size[0] + "px");
	stage.classList.add("full");
	stage.scrollTo((facts.size[0] - stage.clientWidth) / 2, (facts.size[1] - stage.clientHeight) / 2);
}

// Findings and edits, as sentences with what can be done.

/** @param {Facts} f */
function findings(f) {
	const loud = f.findings.filter((x) => x.severity !== "note");
	const quiet = f.findings.filter((x) => x.severity === "note");
	el("findings").replaceChildren(...[...loud, ...quiet].map((x) => line(x.message, x.severity, x.label, x.do)));
	if (!f.findings.length) el("findings").append(line("Nothing. The picture is as it should be.", "note"));
}

/** @param {string} words @param {string} kind @param {string} [label] @param {string} [does] */
function line(words, kind, label, does) {
	const li = document.createElement("li");
	li.className = "finding " + kind;
	li.append(words);
	if (label && does) {
		const b = document.createElement("button");
		b.type = "button";
		b.dataset.do = "found-" + does;
		b.textContent = label;
		if (does === "clipped") {
			b.classList.add("hold");
			b.dataset.do = "exposure";
			b.dataset.n = "0";
			b.textContent = "Hold: the darkest exposure";
		}
		li.append(" ", b);
	}
	return li;
}

/** @param {Facts} f */
function edits(f) {
	el("edits").replaceChildren(...f.edits.map((x) => {
		const li = line(`${x.what.charAt(0).toUpperCase() + x.what.slice(1)} was ${x.action === "soften" ? "made unreadable" : "taken out"}.`, "note", "Put it back", "edit");
		li.dataset.edit = String(x.id);
		li.querySelector("button")?.setAttribute("data-do", "put-back");
		li.querySelector("button")?.setAttribute("aria-label", "Put back: " + x.what);
		return li;
	}));
}

// Buttons.

document.addEventListener("click", async (e) => {
	const b = /** @type {HTMLElement} */ (e.target).closest("[data-do]");
	if (!(b instanceof HTMLElement)) return;
	switch (b.dataset.do) {
	case "measured": return decide({ measured: [b.dataset.part] }, b.dataset.part === "level" ? "measured level" : "measured light");
	case "to-room":
	case "to-house": {
		const a = await post("/spread/" + id, { to: b.dataset.do.slice(3) });
		if (a) say(a.views ? `${a.views} other ${a.views === 1 ? "view has" : "views have"} these lights now. Undo takes it back.` : "There is no other view to give them to.");
		return load();
	}
	case "put-back":
		if (await post("/unedit/" + id, { id: Number(/** @type {HTMLElement} */ (b.closest("[data-edit]")).dataset.edit) })) say("Put back.");
		return load();
	case "found-edits": return setTool("compare");
	case "found-out":
	case "out": {
		const out = el("main").querySelector("[data-do=out]")?.getAttribute("aria-pressed") !== "true";
		if (await post("/decide/" + id, { out, what: (out ? "left out " : "brought back ") + id })) location.reload();
		return;
	}
	case "full": return fullSize();
	}
});

// What the pointer does.

/** @param {string} name */
export function setTool(name) {
	const radio = document.querySelector(`input[name=tool][value=${name}]`);
	if (radio instanceof HTMLInputElement) radio.checked = true;
	for (const m of document.querySelectorAll(".more[data-for]")) /** @type {HTMLElement} */ (m).hidden = /** @type {HTMLElement} */ (m).dataset.for !== name;
	el("how").textContent = howTo[name];
	sheet.dataset.tool = name;
	tools.start(name);
	if (name === "compare") compare();
	else noCompare();
}
document.addEventListener("change", (e) => {
	if (e.target instanceof HTMLInputElement && e.target.name === "tool") setTool(e.target.value);
});

// The page by keys: the next picture, the one before.
document.addEventListener("keydown", (e) => {
	if (typing(e.target)) return;
	if (e.key === "PageDown") document.getElementById("next")?.click();
	if (e.key === "PageUp") document.getElementById("before")?.click();
});

history(load);
listen((e) => {
	const rev = document.querySelector(".history")?.getAttribute("data-rev");
	if (e.kind === "changed" && String(e.rev) !== rev && !tools.active()) load();
}, load);
begin();
setTool("light");
load();
