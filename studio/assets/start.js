// The page without a shoot: a card, the shoots that were opened last, the demo.

import { get, listen, post, tell } from "./net.js";

/** @param {HTMLFormElement} f */
const fields = (f) => Object.fromEntries(new FormData(f));

document.addEventListener("submit", async (e) => {
	e.preventDefault();
	const f = /** @type {HTMLFormElement} */ (e.target);
	if (f.id === "take" && await post("/take", fields(f))) job();
	if (f.id === "open") go(await post("/enter", fields(f)));
});

document.addEventListener("click", async (e) => {
	const b = /** @type {HTMLElement} */ (e.target).closest("[data-do]");
	if (!(b instanceof HTMLElement)) return;
	if (b.dataset.do === "open") go(await post("/enter", { Dir: b.dataset.dir }));
	if (b.dataset.do === "demo" && await post("/demo")) job();
	if (b.dataset.do === "stop") post("/stop");
});

/** @param {{to?: string} | null} answer */
function go(answer) {
	if (answer?.to) location.href = answer.to;
}

async function job() {
	const text = await get("/job");
	if (text !== null) show(JSON.parse(text));
}

/** @param {{what: string, state: string, step: string, done: number, total: number, note?: string, error?: string, failed?: string[], to?: string}} j
 * @param {boolean} [follow] go to the shoot when it is there */
function show(j, follow) {
	if (!j.what) return;
	const part = (/** @type {string} */ id) => /** @type {HTMLElement} */ (document.getElementById(id));
	const running = j.state === "running";
	part("job").hidden = j.state === "done" && !j.failed?.length;
	const ended = part("job").dataset.state === "running" && !running;
	part("job").dataset.state = j.state;
	const bar = /** @type {HTMLProgressElement} */ (part("job-bar"));
	bar.hidden = !running;
	if (j.total) {
		bar.max = j.total;
		bar.value = j.done;
	} else bar.removeAttribute("value");
	part("job-words").textContent = {
		running: `${j.step.charAt(0).toUpperCase() + j.step.slice(1)}${j.total ? `, ${j.done} of ${j.total}` : ""}${j.note ? ": " + j.note : ""}.`,
		done: "Done.",
		stopped: "Stopped. What is copied and finished is kept; taking in the same card into the same folder carries on.",
		failed: j.error || "It could not be done.",
	}[j.state] || "";
	if (ended) tell(part("job-words").textContent || "");
	part("job-failed").replaceChildren(...(j.failed || []).map((f) => {
		const li = document.createElement("li");
		li.className = "finding reshoot";
		li.textContent = f;
		return li;
	}));
	/** @type {HTMLElement} */ (part("job").querySelector("[data-do=stop]")).hidden = !running;
	for (const b of document.querySelectorAll("#take button, [data-do=demo]")) /** @type {HTMLButtonElement} */ (b).disabled = running;
	if (follow && j.state === "done" && j.to && !j.failed?.length) location.href = j.to;
}

listen(async (e) => {
	if (e.kind === "progress") show({ what: "job", state: "running", step: e.step || "", done: e.done || 0, total: e.total || 0, note: e.note });
	if (e.kind === "job" && e.state !== "running") {
		const text = await get("/job");
		if (text !== null) show(JSON.parse(text), true);
	}
}, job);
job();
