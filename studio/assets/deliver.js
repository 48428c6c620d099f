// The delivery: who gets it, its words, then one button.

import { get, history, listen, post, say, tell } from "./net.js";
import { renew } from "./renew.js";

/** @typedef {{what: string, state: string, step: string, done: number, total: number, note: string, error?: string, failed?: string[], to?: string}} Job */

const field = (/** @type {string} */ name) => /** @type {HTMLInputElement | null} */ (document.querySelector(`[name=${name}]`))?.value.trim() || "";

/** The sheets that are ticked, with the file that was typed.
 * @param {boolean} [typed] it has just been typed */
function chosen(typed) {
	const boxes = /** @type {HTMLInputElement[]} */ ([...document.querySelectorAll("[name=sheet]")]);
	const names = boxes.filter((i) => i.checked && !(typed && i.value.endsWith(".toml"))).map((i) => i.value);
	const own = field("Own");
	return typed && own ? [...names, own] : names;
}

/** Fetches the page again. */
async function refresh() {
	if (await renew("/part/deliver")) await job();
}

document.addEventListener("change", async (e) => {
	const i = e.target;
	if (!(i instanceof HTMLInputElement) || i.name === "To" || i.name === "Secret") return;
	const view = /** @type {HTMLElement | null} */ (i.closest("[data-view]"))?.dataset.view;
	if (view) await post("/words/" + view, { [i.name]: i.value });
	else if (i.name === "sheet") await post("/pack", { Sheets: chosen() });
	else if (i.name === "Own" && !await post("/pack", { Sheets: chosen(true) })) return; // what was typed stays to be mended
	else if (i.name !== "Own") await post("/pack", { [i.name]: i.type === "checkbox" ? i.checked : i.type === "number" ? Number(i.value) : i.value });
	await refresh();
});

document.addEventListener("click", async (e) => {
	const b = /** @type {HTMLElement} */ (e.target).closest("[data-do]");
	if (!(b instanceof HTMLElement)) return;
	if (b.dataset.do === "make" && await post("/deliver", { Sheets: chosen() })) await job();
	if (b.dataset.do === "stop") {
		await post("/stop");
		say("Stopping. What is finished is kept.");
	}
});

document.addEventListener("submit", async (e) => {
	e.preventDefault();
	const secret = /** @type {HTMLInputElement} */ (document.querySelector("[name=Secret]"));
	const q = { Delivery: field("Which"), To: field("To"), Password: secret.value };
	secret.value = "";
	if (await post("/send", q)) await job();
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
	const ended = show.was === "running" && !running;
	show.was = j.state;
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
		stopped: j.what === "send" ? "Stopped. What has arrived stays there; sending again carries on." : "Stopped. What is finished is kept; the same button carries on.",
		failed: j.error || "It could not be made.",
	}[j.state] || "";
	if (ended) tell(part("job-words").textContent || "");
	part("job-failed").replaceChildren(...(j.failed || []).map((f) => {
		const li = document.createElement("li");
		li.className = "finding reshoot";
		li.textContent = f;
		return li;
	}));
	const make = /** @type {HTMLButtonElement} */ (document.querySelector("[data-do=make]"));
	make.disabled = running;
	make.textContent = j.state === "stopped" && j.what === "deliver" ? "Carry on" : "Make the delivery";
	/** @type {HTMLButtonElement} */ (document.querySelector("[data-do=stop]")).hidden = !running;
}

/** @type {string} */
show.was = "";

history(refresh);
listen((e) => {
	if (e.kind === "progress") show({ what: "deliver", state: "running", step: e.step || "", done: e.done || 0, total: e.total || 0, note: e.note || "" });
	if (e.kind === "job" && e.state !== "running") refresh();
	if (e.kind === "changed") refresh();
}, refresh);
job();
