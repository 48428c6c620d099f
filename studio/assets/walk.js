// The walk: views are dragged or moved by keys, rooms are named, views are left out.
// The order on the page is sent whole; the server answers with an event, and the page
// is fetched again.

import { checking, going, history, listen, post, say, tell } from "./net.js";
import { renew } from "./renew.js";

/** @param {string} css @param {ParentNode} [within] @returns {HTMLElement[]} */
const all = (css, within = document) => [...within.querySelectorAll(css)].filter((e) => e instanceof HTMLElement);

const rev = () => Number(document.getElementById("page")?.dataset.rev || 0);

/** The arrangement as the page shows it. */
function arrangement() {
	/** @type {{id: string, room: string, out: boolean}[]} */
	const views = [];
	for (const list of all(".views")) {
		const out = list.dataset.out === "true";
		const room = list.closest(".room");
		const name = room?.querySelector("input")?.value.trim() ?? "";
		for (const v of all(".view", list)) {
			views.push({ id: v.dataset.view || "", room: out ? v.dataset.room || "" : name, out });
		}
	}
	return views;
}

/** What is being sent, one after the other. */
let sending = Promise.resolve();
let unsent = 0;

/** Sends the arrangement. What is shown goes back to the truth when it is refused.
 * @param {string} what for the undo button */
function send(what) {
	const begun = baptise();
	const views = arrangement();
	unsent++;
	sending = sending.then(async () => {
		const answer = await post("/arrange", { rev: rev(), what, views });
		const page = document.getElementById("page");
		if (answer && page) page.dataset.rev = answer.Rev; // the page shows it already
		if (answer) tell(what);
		if (--unsent && answer) return;
		await refresh(answer ? Number(answer.Rev) : Infinity);
		if (begun) typeName(begun);
	});
	return sending;
}

/** Gives a room that has been begun a name, since rooms are told apart by their names
 * only. Returns the name, or nothing when no room was begun. */
function baptise() {
	const fresh = document.querySelector(".fresh");
	const input = fresh?.querySelector("input");
	if (!fresh?.querySelector(".view") || !input) return "";
	const taken = new Set(all(".room-name").map((i) => /** @type {HTMLInputElement} */ (i).value.trim().toLowerCase()));
	let n = document.querySelectorAll(".room:not(.fresh)").length + 1;
	while (taken.has("room " + n)) n++;
	return input.value = "Room " + n;
}

/** Lets a new room's name be typed over. @param {string} name */
function typeName(name) {
	const input = all(".room:not(.fresh) .room-name").find((i) => /** @type {HTMLInputElement} */ (i).value === name);
	if (!(input instanceof HTMLInputElement)) return;
	input.focus();
	input.select();
	say("A room begins here. Type its name.");
}

/** Begins a room with a view and all that follow it in theirs.
 * @param {HTMLElement} v */
function begin(v) {
	const fresh = /** @type {HTMLElement} */ (document.querySelector(".fresh"));
	const list = fresh.querySelector(".views");
	v.closest(".room")?.after(fresh);
	for (let next = /** @type {Element | null} */ (v); next;) {
		const after = next.nextElementSibling;
		list?.append(next);
		next = after;
	}
	send("began a room");
}

let refreshing = Promise.resolve();

/** The state of the shoot that the page was fetched in. */
let fetched = rev();

/** Fetches the page's content again; a view that is in the hand stays there.
 * @param {number} [state] the state that has to be shown; one that is needs no fetching,
 * and a button that is being pressed stays */
function refresh(state = Infinity) {
	refreshing = refreshing.then(async () => {
		if (fetched >= state) return;
		if (!await renew("/part/walk", likewise, () => !dragged && !lifted)) return;
		fetched = rev();
		going(document.getElementById("page")?.dataset.checking || "");
	});
	return refreshing;
}

/** A view's button is found again by what it does, and the view by its picture when the
 * button is gone.
 * @param {HTMLElement} e */
function likewise(e) {
	const view = /** @type {HTMLElement | null} */ (e.closest(".view"))?.dataset.view;
	if (!view) return e.id ? "#" + CSS.escape(e.id) : e.dataset.do ? `[data-do="${e.dataset.do}"]` : "";
	const own = e.dataset.do ? `[data-do="${e.dataset.do}"]` : e.classList.contains("mark") ? ".mark" : "a";
	return `.view[data-view="${view}"] :is(${own}), .view[data-view="${view}"]:not(:has(${own})) a`;
}

/** @param {HTMLElement} v */
const called = (v) => v.dataset.view || "a view";

// Buttons under a view.
document.addEventListener("click", (e) => {
	const b = /** @type {HTMLElement} */ (e.target).closest("[data-do]");
	const v = /** @type {HTMLElement | null} */ (b?.closest(".view"));
	if (!(b instanceof HTMLElement) || !v) return;
	switch (b.dataset.do) {
	case "move": return lifted === v ? drop() : lift(v);
	case "begin": return begin(v);
	case "out":
		v.dataset.room = v.closest(".room")?.querySelector("input")?.value || "";
		document.querySelector(".views[data-out]")?.append(v);
		send("left out " + called(v));
		return;
	case "in": return bringBack(v);
	}
});

/** Puts a view at the end of the walk, or at the end of a room it names.
 * @param {HTMLElement} v */
function bringBack(v) {
	const room = v.dataset.room;
	const lists = all(".room:not(.fresh) .views");
	const own = lists.find((l) => l.closest(".room")?.querySelector("input")?.value === room);
	const to = own || lists.at(-1) || document.querySelector(".fresh .views");
	to?.append(v);
	send("brought back " + called(v));
}

// A room's name.
document.addEventListener("change", (e) => {
	if (e.target instanceof HTMLInputElement && e.target.classList.contains("room-name")) {
		send(e.target.value ? `named ${e.target.value}` : "took a room's name away");
	}
});
document.addEventListener("keydown", (e) => {
	if (e.key === "Enter" && e.target instanceof HTMLInputElement) e.target.blur();
});

// Moving by keys: Move lifts a view, the arrows carry it, Enter puts it down, Escape
// puts it back.
/** @type {HTMLElement | null} */
let lifted = null;

/** @param {HTMLElement} v */
function lift(v) {
	lifted = v;
	v.classList.add("lifted");
	say("Lifted. Arrow keys carry the view, Enter puts it down, Escape puts it back.", 0);
}

async function drop() {
	if (!lifted) return;
	const v = lifted;
	lifted = null;
	v.classList.remove("lifted");
	say("");
	await send("moved " + called(v));
}

document.addEventListener("keydown", (e) => {
	if (!lifted) return;
	const step = { ArrowLeft: -1, ArrowUp: -1, ArrowRight: 1, ArrowDown: 1 }[e.key];
	if (step) carry(lifted, step);
	else if (e.key === "Enter") {
		if (/** @type {HTMLElement} */ (e.target).closest("[data-do=move]")) return; // its click puts the view down
		drop();
	} else if (e.key === "Escape") {
		lifted = null;
		say("");
		refresh();
	} else return;
	e.preventDefault();
});

/** Carries a view one place on, over the thresholds of rooms.
 * @param {HTMLElement} v @param {number} step */
function carry(v, step) {
	const near = step < 0 ? v.previousElementSibling : v.nextElementSibling;
	if (near) step < 0 ? near.before(v) : near.after(v);
	else {
		const lists = all(".views");
		const to = lists[lists.indexOf(/** @type {HTMLElement} */ (v.parentElement)) + step];
		if (!to) return;
		step < 0 ? to.append(v) : to.prepend(v);
	}
	/** @type {HTMLElement | null} */ (v.querySelector("[data-do=move]"))?.focus();
	v.scrollIntoView({ block: "nearest" });
	const room = v.closest(".room")?.querySelector("input")?.value;
	const among = all(".view", v.parentElement || undefined);
	say(`${room || (v.closest(".shelf") ? "Left out" : "A new room")}, ${among.indexOf(v) + 1} of ${among.length}.`, 0);
}

// Dragging.
/** @type {HTMLElement | null} */
let dragged = null;
const slot = document.createElement("li");
slot.className = "slot";
slot.setAttribute("aria-hidden", "true");

document.addEventListener("dragstart", (e) => {
	const v = /** @type {HTMLElement} */ (e.target).closest?.(".view");
	if (!(v instanceof HTMLElement) || !e.dataTransfer) return;
	dragged = v;
	e.dataTransfer.effectAllowed = "move";
	e.dataTransfer.setData("text/plain", called(v));
	requestAnimationFrame(() => v.classList.add("dragged"));
});

document.addEventListener("dragover", (e) => {
	const place = dragged && target(/** @type {HTMLElement} */ (e.target), e.clientX, e.clientY);
	if (!place) return;
	e.preventDefault();
	if (place.before) place.list.insertBefore(slot, place.before);
	else place.list.append(slot);
});

document.addEventListener("drop", (e) => {
	if (!dragged || !slot.parentElement) return;
	e.preventDefault();
	const v = dragged;
	if (slot.parentElement.dataset.out) v.dataset.room = v.closest(".room")?.querySelector("input")?.value || "";
	slot.replaceWith(v);
	dragged = null;
	v.classList.remove("dragged");
	send("moved " + called(v));
});

document.addEventListener("dragend", () => {
	dragged?.classList.remove("dragged");
	dragged = null;
	slot.remove();
	if (!unsent) refresh();
});

/** Where a view would go: into the list of the room under the pointer, before the first
 * view whose middle lies beyond it.
 * @param {HTMLElement} over @param {number} x @param {number} y
 * @returns {{list: HTMLElement, before: Element | null} | null} */
function target(over, x, y) {
	const room = over.closest(".room, .shelf");
	const list = room?.querySelector(".views");
	if (!(list instanceof HTMLElement)) return null;
	for (const v of all(".view", list)) {
		const box = v.getBoundingClientRect();
		if (y < box.bottom && (y < box.top || x < box.left + box.width / 2)) return { list, before: v };
	}
	return { list, before: null };
}

history(() => refresh());
listen((e) => {
	checking(e, () => refresh());
	if (e.kind === "changed") refresh(e.rev);
}, () => refresh());
going(document.getElementById("page")?.dataset.checking || "");
