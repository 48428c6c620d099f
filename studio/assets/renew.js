// A page's content is fetched again when the shoot has changed. Whoever is typing, or
// looking, must not notice: the focus, what is half typed and the pictures stay, and so do
// fields marked data-keep, which are sent with a button only.

import { get } from "./net.js";

/** Puts the page that the server gives at path in the place of the one that is shown.
 * @param {string} path
 * @param {(e: HTMLElement) => string} [name] a selector that finds an element's like again
 * @param {() => boolean} [may] says whether the page may be replaced when the new one is there
 * @returns {Promise<boolean>} whether it was */
export async function renew(path, name = named, may = () => true) {
	const text = await get(path);
	const fresh = text === null ? null : new DOMParser().parseFromString(text, "text/html").getElementById("page");
	const page = document.getElementById("page");
	if (!fresh || !page || !may()) return false;
	const at = document.activeElement;
	const again = at instanceof HTMLElement && page.contains(at) ? name(at) : "";
	keepPictures(page, fresh);
	for (const was of /** @type {NodeListOf<HTMLInputElement>} */ (page.querySelectorAll("[data-keep]"))) {
		const now = /** @type {HTMLInputElement | null} */ (fresh.querySelector(`[name="${was.name}"]`));
		if (now && was.value) now.value = was.value;
	}
	page.replaceWith(fresh);
	const to = again && document.querySelector(again);
	if (to instanceof HTMLElement) settle(/** @type {HTMLElement} */ (at), to);
	return true;
}

/** The usual name of an element: its id, or its name or what it does, within its view.
 * @param {HTMLElement} e */
function named(e) {
	if (e.id) return "#" + CSS.escape(e.id);
	const view = /** @type {HTMLElement | null} */ (e.closest("[data-view]"))?.dataset.view;
	let own = e.dataset.do ? `[data-do="${e.dataset.do}"]` : e.tagName.toLowerCase();
	if (e.getAttribute("name")) own = `[name="${e.getAttribute("name")}"]`;
	if (e instanceof HTMLInputElement && e.type === "checkbox") own += `[value="${CSS.escape(e.value)}"]`;
	return (view ? `[data-view="${view}"] ` : "") + own;
}

/** Gives the focus on, with what was typed and not sent yet.
 * @param {HTMLElement} from @param {HTMLElement} to */
function settle(from, to) {
	to.focus({ preventScroll: true });
	if (!(from instanceof HTMLInputElement && to instanceof HTMLInputElement) || from.type === "checkbox") return;
	if (from.value === from.defaultValue) return;
	to.value = from.value;
	if (from.type === "text") to.setSelectionRange(from.selectionStart, from.selectionEnd);
	// A browser sends no change for what was typed into the field's like.
	let sent = false;
	to.addEventListener("change", () => { sent = true; }, { once: true });
	to.addEventListener("blur", () => {
		if (!sent && to.isConnected) to.dispatchEvent(new Event("change", { bubbles: true }));
	}, { once: true });
}

/** Pictures that haven't changed stay, and one that has is shown until the new one is
 * there whole, so that nothing goes blank.
 * @param {HTMLElement} from @param {HTMLElement} to */
function keepPictures(from, to) {
	const view = (/** @type {Element} */ i) => /** @type {HTMLElement | null} */ (i.closest("[data-view]"))?.dataset.view;
	const known = new Map(), shown = new Map();
	for (const i of from.querySelectorAll("img")) {
		known.set(i.getAttribute("src"), i);
		shown.set(view(i), i);
	}
	for (const i of to.querySelectorAll("img")) {
		const src = i.getAttribute("src");
		const old = known.get(src) || shown.get(view(i));
		if (!old) continue;
		for (const a of ["alt", "width", "height"]) old.setAttribute(a, i.getAttribute(a) || "");
		i.replaceWith(old);
		if (!known.has(src)) later(old, src || "");
	}
}

/** @param {HTMLImageElement} img @param {string} src */
async function later(img, src) {
	const next = new Image();
	img.dataset.next = src;
	next.src = src;
	await next.decode().catch(() => {});
	if (img.dataset.next !== src) return;
	delete img.dataset.next;
	img.src = src;
}
