// The level, pushed by hand: up and down on the pad is pitch, sideways is roll. The picture
// follows as a draft and is kept when the hand rests.

import { attempt, decide, el, facts, known, load, signed } from "./facts.js";
import { say } from "./net.js";

/** @typedef {{pitch: number, roll: number, yaw: number}} Level */

const most = 45; // degrees either way
const slow = 40; // CSS pixels a degree

const pad = el("pad");

/** What the hand or the keys have changed and not kept yet. @type {Level | null} */
let tried = null;
/** Where the pad was taken hold of. @type {{x: number, y: number, from: Level} | null} */
let grip = null;
/** @type {number | undefined} */
let settle;

/** The level as the picture stands. @returns {Level | null} */
const standing = () => facts && { pitch: facts.level.pitch, roll: facts.level.roll, yaw: facts.level.yaw };

/** @param {Level} l @param {boolean} byHand */
const words = (l, byHand) => `Pitch ${signed(l.pitch, 2)}°, roll ${signed(l.roll, 2)}°${byHand ? " by hand" : ""}`;

/** Shows a level in numbers, and on the pad as a bubble off the middle.
 * @param {Level} l @param {boolean} byHand */
function show(l, byHand) {
	el("level").textContent = words(l, byHand);
	const off = (/** @type {number} */ deg) => Math.max(-1, Math.min(1, deg / 6)).toFixed(3);
	pad.style.setProperty("--roll", off(l.roll));
	pad.style.setProperty("--pitch", off(-l.pitch));
}

/** Tries a level: the picture follows.
 * @param {Level} l */
function attemptLevel(l) {
	const hold = (/** @type {number} */ deg) => Math.max(-most, Math.min(most, Math.round(100 * deg) / 100));
	tried = { pitch: hold(l.pitch), roll: hold(l.roll), yaw: l.yaw };
	show(tried, true);
	attempt(tried);
}

/** Keeps what was tried. */
function keep() {
	clearTimeout(settle);
	const l = tried;
	tried = null;
	if (l) decide({ level: l }, "level");
}

/** Leaves what was tried, and shows the picture as it stands. */
function abandon() {
	clearTimeout(settle);
	grip = null;
	tried = null;
	load();
}

/** Reports whether the level is in the hand. */
export const held = () => tried !== null;

/** @param {KeyboardEvent} e */
function keys(e) {
	if (e.ctrlKey || e.metaKey || e.altKey) return;
	if (e.key === "Escape" && tried) return abandon();
	const step = /** @type {Record<string, [number, number]>} */ ({ ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] })[e.key];
	const from = tried || standing();
	if (!step || !from) return;
	e.preventDefault();
	const by = e.shiftKey ? 0.02 : 0.1;
	attemptLevel({ pitch: from.pitch + by * step[0], roll: from.roll + by * step[1], yaw: from.yaw });
	if (tried) say(words(tried, false) + ".", 3);
	clearTimeout(settle);
	settle = setTimeout(keep, 700);
}

/** The ears. */
export function begin() {
	known((f) => { if (!tried) show(f.level, f.level.by_hand); });
	pad.addEventListener("keydown", keys);
	pad.addEventListener("blur", () => { if (!grip) keep(); });
	pad.addEventListener("pointerdown", (e) => {
		const from = tried || standing();
		if (e.button !== 0 || !from) return;
		clearTimeout(settle);
		pad.setPointerCapture(e.pointerId);
		grip = { x: e.clientX, y: e.clientY, from };
	});
	pad.addEventListener("pointermove", (e) => {
		if (!grip) return;
		const { x, y, from } = grip;
		if (!tried && Math.hypot(e.clientX - x, e.clientY - y) < 3) return;
		attemptLevel({ pitch: from.pitch - (e.clientY - y) / slow, roll: from.roll + (e.clientX - x) / slow, yaw: from.yaw });
	});
	pad.addEventListener("pointerup", () => {
		grip = null;
		keep();
	});
	pad.addEventListener("pointercancel", abandon);
}
