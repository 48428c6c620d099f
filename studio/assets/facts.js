// What the page of a view knows: the facts that the server gives, and the picture.

import { gone, post, say, tell } from "./net.js";

/**
 * @typedef {{ev: number, mired: number, duv: number, measured: number, kelvin: number}} Light
 * @typedef {{ev: number, used: boolean, why?: string, time?: string, key: string}} Frame
 * @typedef {{do: string, label: string, n?: number, at?: [number, number, number, number]}} Button
 * @typedef {{code: string, severity: string, message: string, buttons?: Button[]}} Finding
 * @typedef {{id: number, action: string, what: string, where: [number, number, number, number]}} Edit
 * @typedef {{x: number, y: number, r: number}} Spot
 * @typedef {{id: string, key: string, room: Light, window: Light, glass: {w: number, h: number, data: string},
 *   level: {pitch: number, roll: number, yaw: number, by_hand: boolean, note: string},
 *   size: [number, number], preview: [number, number], frames: Frame[], findings: Finding[], edits: Edit[], dust: Spot[],
 *   checking: string, standing: {Name: string, Where: string, Before: string, Next: string, OutWords: string},
 *   history: {Rev: string, Undo: string, Redo: string}}} Facts
 * @typedef {{x: number, y: number}} Place in shares of the picture's width and height
 */

/** @template {HTMLElement} T @param {string} id @returns {T} */
export const el = (id) => /** @type {T} */ (document.getElementById(id));

export const id = el("main").dataset.view || "";
/** @type {HTMLElement} */
export const sheet = el("sheet");
/** @type {HTMLImageElement} */
export const picture = el("picture");

/** @type {Facts | null} */
export let facts = null;
/** @type {Uint8Array | null} */
let glass = null;

/** @type {((f: Facts) => void)[]} */
const listeners = [];

/** Calls fn with the facts whenever they are new.
 * @param {(f: Facts) => void} fn */
export const known = (fn) => { listeners.push(fn); };

let loading = Promise.resolve();

/** Asks for the facts and shows them and the picture. A draft still on its way is late. */
export function load() {
	wanted = null;
	turn++;
	loading = loading.then(async () => {
		busy(true);
		try {
			const r = await fetch("/facts/" + id);
			const answer = await r.json();
			if (!r.ok) return say(answer.error, 0);
			await take(answer);
		} catch {
			gone();
		} finally {
			busy(false);
		}
	});
	return loading;
}

/** @param {Facts} f */
async function take(f) {
	facts = f;
	glass = f.glass.w ? Uint8Array.from(atob(f.glass.data), (c) => c.charCodeAt(0)) : null;
	picture.width = f.preview[0];
	picture.height = f.preview[1];
	sheet.style.setProperty("--ratio", String(f.size[0] / f.size[1]));
	const shown = swap(picture, `/live/${id}?k=${f.key}`);
	for (const fn of listeners) fn(f);
	await shown;
	delete sheet.dataset.trying;
	el("main").dataset.key = f.key;
}

/** Reports whether this view shows the outside at all. */
export const hasGlass = () => glass !== null;

/** Reports whether a place of the picture shows the outside.
 * @param {number} x @param {number} y in shares of width and height */
export function outside(x, y) {
	if (!glass || !facts) return false;
	const { w, h } = facts.glass;
	const at = Math.min(h - 1, Math.floor(y * h)) * w + Math.min(w - 1, Math.floor(x * w));
	return glass[at] > 127;
}

/** Shows a picture when it is there whole, so that nothing flickers.
 * @param {HTMLImageElement} img @param {string} src
 * @param {() => boolean} [still] says whether it is still wanted then */
export async function swap(img, src, still = () => true) {
	const next = new Image();
	next.src = src;
	try {
		await next.decode();
	} catch {
		return;
	}
	if (still()) img.src = src;
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

// Trying: the picture follows the hand. One picture is asked for at a time, and always
// the latest that is wanted.

/** @type {string | null} */
let wanted = null;
let asking = false;
/** Counts what is shown for good: a draft asked for before is not shown after it. */
let turn = 0;

/** @param {Record<string, number>} change */
export function attempt(change) {
	sheet.dataset.trying = "true";
	wanted = "draft=1&" + new URLSearchParams(Object.entries(change).map(([k, v]) => [k, v.toFixed(3)])).toString();
	if (!asking) ask();
}

async function ask() {
	asking = true;
	while (wanted !== null) {
		const query = wanted, mine = turn;
		wanted = null;
		try {
			const r = await fetch(`/live/${id}?${query}`);
			if (!r.ok) break;
			const url = URL.createObjectURL(await r.blob());
			const before = picture.src;
			await swap(picture, url, () => mine === turn);
			if (picture.src !== url) URL.revokeObjectURL(url);
			else if (before.startsWith("blob:")) URL.revokeObjectURL(before);
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
	if (await post("/decide/" + id, { ...change, what: `${what} of ${id}` })) tell(what + " changed");
	await load();
}
