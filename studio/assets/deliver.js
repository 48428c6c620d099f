// The delivery: who gets it, its words, then one button.

import { get, history, listen, post, say } from "./net.js";

/** @typedef {{what: string, state: string, step: string, done: number, total: number, note: string, error?: string, failed?: string[], to?: string}} Job */

const field = (/** @type {string} */ name) => /** @type {HTMLInputElement | null} */ (document.querySelector(`[name=${name}]`))?.value.trim() || "";

/** The sheets that are ticked. */
const ticked = () => [...document.querySelectorAll("[name=sheet]:checked")].map((i) => /** @type {HTMLInputElement} */ (i).value);

/** Those, with the file that was typed. @param {boolean} [typed] it has just been typed */
function chosen(typed) {
	const own = field("Own");
	const shown = [...document.querySelectorAll("[name=sheet]")].some((i) => /** @type {HTMLInputElement} */ (i).value === own);
	const names = ticked().filter((s) => !s.endsWith(".toml") || s === own);
	return own && (typed || !shown) && !names.includes(own) ? [...names, own] : names;
}

/** Fetches the page again; a field that has the focus keeps it.
 * @param {boolean} [typed] a sheet was typed */
async function refresh(typed) {
	const query = new URLSearchParams(chosen(typed === true).map((s) => ["sheet", s])).toString();
	const text = await get("/part/deliver?" + query);
	if (text === null) return;
	const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("page");
	const page = document.getElementById("page");
	if (!fresh || !page) return;
	const at = place(document.activeElement);
	for (const name of ["To", "Secret"]) {
		const was = /** @type {HTMLInputElement | null} */ (page.querySelector(`[name=${name}]`));
		const now = /** @type {HTMLInputElement | null} */ (fresh.querySelector(`[name=${name}]`));
		if (was && now) now.value = was.value;
	}
	page.replaceWith(fresh);
	if (at) /** @type {HTMLElement | null} */ (document.querySelector(at))?.focus({ preventScroll: true });
	await job();
}

/** @param {Element | null} e */
function place(e) {
	if (!(e instanceof HTMLElement)) return "";
	const view = /** @type {HTMLElement | null} */ (e.closest("[data-view]"))?.dataset.view;
	const own = e instanceof HTMLInputElement ? `[name="${e.name}"]${e.name === "sheet" ? `[value="${e.value}"]` : ""}` : e.dataset.do ? `[data-do="${e.dataset.do}"]` : "";
	return own && (view ? `[data-view="${view}"] ` : "") + own;
}

document.addEventListener("change", async (e) => {
	const i = e.target;
	if (!(i instanceof HTMLInputElement) || i.name === "To" || i.name === "Secret") return;
	const view = /** @type {HTMLElement | null} */ (i.closest("[data-view]"))?.dataset.view;
	if (view) await post("/words/" + view, { [i.name]: i.value });
	else if (!["sheet", "Own"].includes(i.name)) await post("/pack", { [i.name]: i.type === "checkbox" ? i.checked : i.type === "number" ? Number(i.value) : i.value });
	await refresh(i.name === "Own");
});

document.addEventListener("click", async (e) => {
	const b = /** @type {HTMLElement} */ (e.target).closest("[data-do]");
	if (!(b instanceof HTMLElement)) return;
	if (b.dataset.do === "make" && await post("/deliver", { Sheets: chosen() })) await job();
	if (b.dataset.do === "send") {
		const secret = /** @type {HTMLInputElement} */ (document.querySelector("[name=Secret]"));
		const q = { Delivery: /** @type {HTMLSelectElement} */ (document.querySelector("[name=Which]")).value, To: field("To"), Password: secret.value };
		secret.value = "";
		if (await post("/send", q)) await job();
	}
	if (b.dataset.do === "stop") {
		await post("/stop");
		say("Stopping. What is finished is kept.");
	}
});

/** Asks how the work stands, and shows it. */
async function job() {
	const text = await get("/job");
	if (text === null) return;
	/** @type {Job} */
	const j = JSON.parse(text);
	if (j.what !== "deliver" && j.what !== "send") return;
	show(j);
}

/** @param {Job} j */
function show(j) {
	const part = (/** @type {string} */ id) => /** @type {HTMLElement} */ (document.getElementById(id));
	const running = j.state === "running";
	part("job").hidden = false;
	part("job").dataset.state = j.state;
	const bar = /** @type {HTMLProgressElement} */ (part("job-bar"));
	bar.hidden = !running;
	if (j.total) {
		bar.max = j.total;
		bar.value = j.done;
	} else bar.removeAttribute("value");
	part("job-words").textContent = {
		running: `${j.step.charAt(0).toUpperCase() + j.step.slice(1)}${j.total ? `, ${j.done} of ${j.total}` : ""}${j.note ? ": " + j.note : ""}.`,
		done: j.failed?.length ? "Not everything could be made." : j.what === "send" ? j.note : "Done. Every file was read back and checked.",
		stopped: "Stopped. What is finished is kept; the same button carries on.",
		failed: j.error || "It could not be made.",
	}[j.state] || "";
	part("job-failed").replaceChildren(...(j.failed || []).map((f) => {
		const li = document.createElement("li");
		li.className = "finding reshoot";
		li.textContent = f;
		return li;
	}));
	const make = /** @type {HTMLButtonElement} */ (document.querySelector("[data-do=make]"));
	make.disabled = running;
	make.textContent = j.state === "stopped" ? "Carry on" : "Make the delivery";
	/** @type {HTMLButtonElement} */ (document.querySelector("[data-do=stop]")).hidden = !running;
}

history(refresh);
listen((e) => {
	if (e.kind === "progress") show({ what: "deliver", state: "running", step: e.step || "", done: e.done || 0, total: e.total || 0, note: e.note || "" });
	if (e.kind === "job" && e.state !== "running") refresh();
	if (e.kind === "changed") refresh();
}, refresh);
job();
