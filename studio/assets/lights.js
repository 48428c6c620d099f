// The numbers of the two lights: what they stand at, and typing them.

import { decide, el, facts, hasGlass, kelvin, known } from "./facts.js";

/** @typedef {import("./facts.js").Light} Light */

/** The light that keys change. @type {"room" | "window"} */
export let chosen = "room";

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
	if (which === "window" && !hasGlass()) return;
	chosen = which;
	if (facts) numbers(facts.room, facts.window);
}

/** Takes the lights, or the level, back to what was measured. @param {string} part */
export const measured = (part) => decide({ measured: [part] }, part === "level" ? "measured level" : "measured light");

/** The ears. */
export function begin() {
	known((f) => {
		el("light-window").hidden = !hasGlass();
		if (!hasGlass()) chosen = "room";
		numbers(f.room, f.window);
	});
	document.addEventListener("change", typed);
	document.addEventListener("focusin", (e) => {
		const box = /** @type {HTMLElement} */ (e.target).closest("[data-light]");
		if (box instanceof HTMLElement) choose(box.dataset.light === "window" ? "window" : "room");
	});
}

/** @param {Event} e */
function typed(e) {
	const input = e.target;
	const box = input instanceof HTMLInputElement && /** @type {HTMLElement | null} */ (input.closest("[data-light]"));
	if (!box || !facts) return;
	const which = box.dataset.light === "window" ? "window" : "room";
	const value = Number(input.value);
	if (!Number.isFinite(value) || input.value === "") return numbers(facts.room, facts.window);
	choose(which);
	if (input.name === "ev") decide({ [which + "_ev"]: Math.max(-8, Math.min(8, value)) }, which + " light");
	else decide({ [which + "_mired"]: 1e6 / facts[which].measured - 1e6 / Math.max(1700, Math.min(25000, value)) }, which + " white");
}
