// What the pointer does on the picture, and what keys do in its place.

import { compare, divideAt, noCompare } from "./beside.js";
import { attempt, busy, decide, el, facts, id, kelvin, known, load, outside, sheet, signed } from "./facts.js";
import { choose, chosen, numbers } from "./lights.js";
import { post, say } from "./net.js";
import { level, pan, reveal, toggle, zoomTo } from "./zoom.js";

/** @typedef {import("./facts.js").Place} Place */

/** @type {Record<string, string>} */
const howTo = {
	look: "Press on a place to see it at full size, drag to look around, press again for the whole picture. With keys, Enter does it, arrows look around, + and − go closer and away.",
	light: "Press on a place: up is lighter, right is warmer. On a window it is the window's light, elsewhere the room's. Arrow keys do the same; R and W choose room or window, Shift makes small steps.",
	white: "Press on something that is white or grey: a wall, a ceiling, a frame. With keys, arrows carry the cross and Enter takes the place.",
	upright: "Draw along upright edges, from end to end; two, far apart, are best (with keys, Enter sets each end). Or push the bubble: up is pitch, sideways is roll.",
	remove: "Paint over what goes. What belongs to the property, or hides a defect, stays. The unaltered picture is delivered beside it.",
	soften: "Draw a box around what must stay private: a face, a document, a plate. It can't be brought back from the picture.",
	compare: "Drag the line over the picture. Before is on the left.",
};

const marks = /** @type {SVGSVGElement} */ (/** @type {unknown} */ (document.getElementById("marks")));
const space = "http://www.w3.org/2000/svg";

let tool = "light";
let down = false;
/** @type {Place[]} */
let trail = [];
/** @type {[number, number, number, number][]} */
let lines = [];
/** Where the keys' cross stands. @type {Place | null} */
let cross = null;

/** Rings around mended dust. */
let spots = false;

/** Takes up a tool.
 * @param {string} name */
export function setTool(name) {
	const radio = document.querySelector(`input[name=tool][value=${name}]`);
	if (radio instanceof HTMLInputElement) radio.checked = true;
	for (const m of document.querySelectorAll(".more[data-for]")) /** @type {HTMLElement} */ (m).hidden = /** @type {HTMLElement} */ (m).dataset.for !== name;
	el("how").textContent = howTo[name];
	sheet.dataset.tool = name;
	tool = name;
	trail = [];
	lines = [];
	cross = null;
	down = false;
	draw();
	if (name === "compare") compare();
	else noCompare();
}

/** Reports whether the picture is in the hand. */
export const active = () => down;

/** Draws rings around the places where dust was mended, or takes them away.
 * @param {boolean} on */
export function showSpots(on) {
	spots = on;
	draw();
	const n = facts?.dust.length || 0;
	if (on) say(n === 1 ? "One place is marked." : `${n} places are marked.`);
}

/** @param {PointerEvent} e @returns {Place} */
function place(e) {
	const box = sheet.getBoundingClientRect();
	const hold = (/** @type {number} */ v) => Math.max(0, Math.min(1, v));
	return { x: hold((e.clientX - box.left) / box.width), y: hold((e.clientY - box.top) / box.height) };
}

// The light under the pointer.

/** @type {{which: "room" | "window", x: number, y: number, ev: number, mired: number} | null} */
let grip = null;
const slack = 4; // pixels before a press counts as a drag

/** @param {PointerEvent} e */
function grab(e) {
	if (!facts) return;
	const p = place(e);
	const which = outside(p.x, p.y) ? "window" : "room";
	choose(which);
	grip = { which, x: e.clientX, y: e.clientY, ev: facts[which].ev, mired: facts[which].mired };
	read(`${which === "window" ? "Window light" : "Room light"} ${signed(grip.ev, 2)} EV, ${kelvin(facts[which], grip.mired)} K`, e);
}

/** @param {PointerEvent} e */
function pulled(e) {
	if (!grip || !facts) return null;
	const off = (/** @type {number} */ d) => Math.sign(d) * Math.max(0, Math.abs(d) - slack);
	const ev = Math.max(-8, Math.min(8, Math.round(100 * (grip.ev - off(e.clientY - grip.y) / 120)) / 100));
	const mired = Math.max(-400, Math.min(400, Math.round(grip.mired + off(e.clientX - grip.x) / 4)));
	return { ev, mired };
}

/** @param {PointerEvent} e */
function pull(e) {
	const to = pulled(e);
	if (!to || !grip || !facts) return;
	const l = { ...facts[grip.which], ...to };
	numbers(grip.which === "room" ? l : facts.room, grip.which === "window" ? l : facts.window);
	read(`${grip.which === "window" ? "Window light" : "Room light"} ${signed(to.ev, 2)} EV, ${kelvin(l, to.mired)} K`, e);
	attempt({ [grip.which + "_ev"]: to.ev, [grip.which + "_mired"]: to.mired });
}

/** @param {PointerEvent} e */
function letGo(e) {
	const to = pulled(e);
	const g = grip;
	grip = null;
	read("");
	if (!to || !g || !facts) return;
	/** @type {Record<string, number>} */
	const change = {};
	if (to.ev !== g.ev) change[g.which + "_ev"] = to.ev;
	if (to.mired !== Math.round(g.mired)) change[g.which + "_mired"] = to.mired;
	if (Object.keys(change).length) decide(change, g.which + " light");
}

/** Shows the numbers beside the pointer.
 * @param {string} words @param {PointerEvent} [e] */
function read(words, e) {
	const r = el("reads");
	r.hidden = !words;
	r.textContent = words;
	if (!e) return;
	const box = sheet.getBoundingClientRect();
	r.style.left = Math.min(e.clientX - box.left + 18, box.width - 260) + "px";
	r.style.top = Math.max(e.clientY - box.top - 40, 4) + "px";
}

// The other tools.

/** @param {Place} p */
async function white(p) {
	busy(true);
	if (await post("/white/" + id, p)) say("This is white now. Undo takes it back.");
	busy(false);
	await load();
}

async function straighten() {
	if (!lines.length) return;
	busy(true);
	const ok = await post("/upright/" + id, { lines });
	busy(false);
	if (ok) {
		lines = [];
		say("The lines are upright now. Undo takes it back.");
	}
	draw();
	await load();
}

/** @param {Record<string, unknown>} what */
async function paint(what) {
	const action = tool === "soften" ? "soften" : "remove";
	const kind = /** @type {HTMLSelectElement} */ (el(action + "-kind")).value;
	const words = /** @type {HTMLInputElement} */ (el(action + "-words")).value;
	busy(true);
	const ok = await post("/edit/" + id, { action, kind, words, ...what });
	busy(false);
	trail = [];
	draw();
	if (ok && action === "remove") say("Taken out. The unaltered picture will be delivered beside it. Whether it may be published is for local law and the listing service to decide.", 9);
	if (ok && action === "soften") say("Made unreadable.");
	await load();
}

const brush = () => Number(/** @type {HTMLInputElement} */ (el("brush")).value) / 1000;
const byLine = () => /** @type {HTMLInputElement} */ (el("by-line")).checked;

/** @param {Place[]} points */
const stroke = (points) => paint({ points: thin(points).map((p) => [p.x, p.y]), width: brush() });

/** Leaves out points that are closer than a thousandth.
 * @param {Place[]} points */
function thin(points) {
	const out = [points[0]];
	for (const p of points) {
		const q = out[out.length - 1];
		if (Math.hypot(p.x - q.x, p.y - q.y) > 0.001) out.push(p);
	}
	return out.slice(0, 4000);
}

/** @param {Place} a @param {Place} b */
function box(a, b) {
	const w = Math.abs(a.x - b.x), h = Math.abs(a.y - b.y);
	if (w < 0.004 || h < 0.004) {
		trail = [];
		draw();
		return;
	}
	paint({ box: [Math.min(a.x, b.x), Math.min(a.y, b.y), w, h] });
}

/** @param {Place} a @param {Place} b */
function addLine(a, b) {
	trail = [];
	if (Math.hypot(a.x - b.x, a.y - b.y) > 0.03) lines.push([a.x, a.y, b.x, b.y]);
	else say("Draw along the edge, from end to end.");
	draw();
}

// Keys.

/** @type {number | undefined} */
let settle;
/** What the keys have changed and not kept yet. @type {{ev: number, mired: number, which: "room" | "window"} | null} */
let nudge = null;

/** Changes the chosen light by keys; it is kept when they rest.
 * @param {number} warm @param {number} up @param {boolean} small */
function change(warm, up, small) {
	if (!facts) return;
	const which = chosen;
	if (!nudge || nudge.which !== which) nudge = { which, ev: facts[which].ev, mired: facts[which].mired };
	nudge.ev = Math.max(-8, Math.min(8, Math.round(100 * (nudge.ev + up * (small ? 0.02 : 0.1))) / 100));
	nudge.mired = Math.max(-400, Math.min(400, Math.round(nudge.mired + warm * (small ? 2 : 8))));
	const l = { ...facts[which], ev: nudge.ev, mired: nudge.mired };
	numbers(which === "room" ? l : facts.room, which === "window" ? l : facts.window);
	say(`${which === "window" ? "Window light" : "Room light"} ${signed(nudge.ev, 2)} EV, ${kelvin(l, nudge.mired)} K.`, 3);
	attempt({ [which + "_ev"]: nudge.ev, [which + "_mired"]: nudge.mired });
	clearTimeout(settle);
	settle = setTimeout(() => {
		const n = nudge;
		nudge = null;
		if (n) decide({ [n.which + "_ev"]: n.ev, [n.which + "_mired"]: n.mired }, n.which + " light");
	}, 700);
}

/** @param {[number, number]} step @param {boolean} small */
function carry(step, small) {
	cross ||= { x: 0.5, y: 0.5 };
	const by = small ? 0.002 : 0.02;
	cross = { x: Math.max(0, Math.min(1, cross.x + by * step[0])), y: Math.max(0, Math.min(1, cross.y + by * step[1])) };
	if ((tool === "upright" || tool === "soften") && trail.length) trail = [trail[0], cross];
	reveal(cross);
	say(`${Math.round(100 * cross.x)} % from the left, ${Math.round(100 * cross.y)} % from the top.`, 3);
	draw();
}

/** Enter: takes the cross's place. */
function mark() {
	const p = cross;
	if (!p) return say("Arrow keys carry the cross; Enter takes its place.");
	switch (tool) {
	case "white": return white(p);
	case "remove":
		trail.push(p);
		/** @type {HTMLInputElement} */ (el("by-line")).checked = true;
		break;
	case "upright":
	case "soften":
		if (!trail.length) trail = [p, p];
		else if (tool === "upright") addLine(trail[0], p);
		else box(trail[0], p);
	}
	draw();
}

// Looking around.

/** Where the picture was taken hold of, in the window. @type {{x: number, y: number, moved: boolean} | null} */
let handle = null;

/** @param {PointerEvent} e */
function drag(e) {
	if (!handle) return;
	if (Math.hypot(e.clientX - handle.x, e.clientY - handle.y) <= slack && !handle.moved) return;
	pan(handle.x - e.clientX, handle.y - e.clientY);
	handle = { x: e.clientX, y: e.clientY, moved: true };
}

/** Letting go without having dragged goes closer, or back. */
function press() {
	const moved = handle?.moved;
	handle = null;
	if (!moved) toggle();
}

// Drawing over the picture.

/** @param {string} name @param {Record<string, string | number>} attributes */
function shape(name, attributes) {
	const s = document.createElementNS(space, name);
	for (const [k, v] of Object.entries(attributes)) s.setAttribute(k, String(v));
	marks.append(s);
	return s;
}

/** @param {Place} [pointer] */
function draw(pointer) {
	const w = sheet.clientWidth, h = sheet.clientHeight;
	marks.setAttribute("viewBox", `0 0 ${w} ${h}`);
	marks.replaceChildren();
	const path = (/** @type {Place[]} */ ps) => ps.map((p) => `${(p.x * w).toFixed(1)},${(p.y * h).toFixed(1)}`).join(" ");
	for (const s of spots && facts ? facts.dust : []) {
		const r = Math.max(10, 1.5 * s.r * w);
		shape("circle", { cx: s.x * w, cy: s.y * h, r, class: "under" });
		shape("circle", { cx: s.x * w, cy: s.y * h, r, class: "over" });
	}
	if (tool === "remove" && trail.length) {
		shape("polyline", { points: path(trail.length > 1 ? trail : [trail[0], trail[0]]), class: "brush", "stroke-width": brush() * w });
	}
	if (tool === "remove" && pointer) shape("circle", { cx: pointer.x * w, cy: pointer.y * h, r: brush() * w / 2, class: "tip" });
	for (const l of lines) ends(l[0] * w, l[1] * h, l[2] * w, l[3] * h);
	if (tool === "upright" && trail.length > 1) ends(trail[0].x * w, trail[0].y * h, trail[1].x * w, trail[1].y * h);
	if (tool === "soften" && trail.length > 1) {
		const [a, b] = trail;
		shape("rect", { x: Math.min(a.x, b.x) * w, y: Math.min(a.y, b.y) * h, width: Math.abs(a.x - b.x) * w, height: Math.abs(a.y - b.y) * h, class: "box" });
	}
	if (cross) {
		shape("path", { d: `M${cross.x * w - 14},${cross.y * h}h28M${cross.x * w},${cross.y * h - 14}v28`, class: "under" });
		shape("path", { d: `M${cross.x * w - 14},${cross.y * h}h28M${cross.x * w},${cross.y * h - 14}v28`, class: "over" });
	}
	/** @type {HTMLButtonElement} */ (document.querySelector("[data-do=straighten]")).disabled = !lines.length;
	/** @type {HTMLButtonElement} */ (document.querySelector("[data-do=unline]")).disabled = !lines.length;
	/** @type {HTMLButtonElement} */ (document.querySelector("[data-do=fill]")).hidden = !(byLine() && trail.length);
}

/** @param {number} x1 @param {number} y1 @param {number} x2 @param {number} y2 */
function ends(x1, y1, x2, y2) {
	shape("line", { x1, y1, x2, y2, class: "under" });
	shape("line", { x1, y1, x2, y2, class: "over" });
	for (const [cx, cy] of [[x1, y1], [x2, y2]]) shape("circle", { cx, cy, r: 4, class: "end" });
}

/** Leaves what the hand has begun, and shows the picture as it stands. */
function abandon() {
	down = false;
	grip = null;
	handle = null;
	trail = [];
	read("");
	draw();
	load();
}

/** The ears. */
export function begin() {
	known(() => draw());
	document.addEventListener("change", (e) => {
		if (e.target instanceof HTMLInputElement && e.target.name === "tool") setTool(e.target.value);
	});
	sheet.addEventListener("pointerdown", (e) => {
		if (e.button !== 0 || sheet.dataset.shown) return;
		e.preventDefault();
		sheet.focus({ preventScroll: true });
		sheet.setPointerCapture(e.pointerId);
		const p = place(e);
		cross = null;
		down = true;
		switch (tool) {
		case "look":
			handle = { x: e.clientX, y: e.clientY, moved: false };
			return;
		case "light": return grab(e);
		case "compare": return divideAt(p.x);
		case "remove":
			if (byLine()) trail.push(p);
			else trail = [p];
			break;
		case "upright":
		case "soften": trail = [p, p];
		}
		draw();
	});

	sheet.addEventListener("pointermove", (e) => {
		const p = place(e);
		if (!down) {
			if (tool === "remove") draw(p);
			return;
		}
		switch (tool) {
		case "look": return drag(e);
		case "light": return pull(e);
		case "compare": return divideAt(p.x);
		case "remove":
			if (!byLine()) trail.push(p);
			break;
		case "upright":
		case "soften": trail = [trail[0], p];
		}
		draw(p);
	});

	sheet.addEventListener("pointerup", (e) => {
		if (!down) return;
		down = false;
		const p = place(e);
		switch (tool) {
		case "look": return press();
		case "light": return letGo(e);
		case "white": white(p); break;
		case "remove": if (!byLine()) stroke(trail); break;
		case "upright": addLine(trail[0], p); break;
		case "soften": box(trail[0], p); break;
		}
		draw();
	});

	sheet.addEventListener("pointercancel", abandon);
	sheet.addEventListener("pointerleave", () => { if (!down) draw(); });

	sheet.addEventListener("keydown", (e) => {
		if (e.ctrlKey || e.metaKey || e.altKey) return;
		const step = /** @type {Record<string, [number, number]>} */ ({ ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] })[e.key];
		if (step) {
			e.preventDefault();
			if (tool === "look") pan(step[0] * (e.shiftKey ? 20 : 80), step[1] * (e.shiftKey ? 20 : 80));
			else if (tool === "light") change(step[0], -step[1], e.shiftKey);
			else if (tool === "compare") divideAt(Math.max(0, Math.min(1, Number(/** @type {HTMLInputElement} */ (el("divider")).value) / 1000 + 0.02 * step[0])));
			else carry(step, e.shiftKey);
			return;
		}
		switch (e.key) {
		case "r": return choose("room");
		case "w": return choose("window");
		case "Enter":
			if (tool === "light" || tool === "compare") return;
			e.preventDefault();
			if (tool === "look") return zoomTo(level === "fit" ? "full" : "fit");
			return mark();
		case "Escape":
			if (down) return abandon();
			trail = [];
			cross = null;
			draw();
		}
	});

	document.addEventListener("click", (e) => {
		const b = /** @type {HTMLElement} */ (e.target).closest("[data-do]");
		if (!(b instanceof HTMLElement)) return;
		if (b.dataset.do === "straighten") straighten();
		if (b.dataset.do === "unline") {
			lines = [];
			draw();
		}
		if (b.dataset.do === "fill" && trail.length) stroke(trail);
	});
	el("by-line").addEventListener("change", () => { trail = []; draw(); });
	addEventListener("resize", () => draw());
}
