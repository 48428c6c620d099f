// Findings are sentences; their buttons do what they suggest.

import { el, id, known, load, sheet } from "./facts.js";
import { post, say } from "./net.js";
import { setTool, showSpots } from "./tools.js";
import { zoomTo } from "./zoom.js";

/** @typedef {import("./facts.js").Facts} Facts */
/** @typedef {import("./facts.js").Finding} Finding */
/** @typedef {import("./facts.js").Button} Button */

/** @param {Facts} f */
function findings(f) {
	const asks = f.findings.filter((x) => x.severity !== "note" || x.buttons);
	const notes = f.findings.filter((x) => x.severity === "note" && !x.buttons);
	asks.sort((a, b) => Number(a.severity === "note") - Number(b.severity === "note"));
	el("findings").replaceChildren(...asks.map(sentence));
	if (!asks.length) el("findings").append(line(f.checking ? "Nothing so far; its frames have not been looked at yet." : "Nothing. The picture is as it should be.", "note"));
	el("notes").replaceChildren(...notes.map(sentence));
	el("record").hidden = !notes.length;
}

/** @param {Finding} x */
const sentence = (x) => line(x.message, x.severity, x.buttons);

/** @param {string} words @param {string} kind @param {Button[]} [buttons] */
function line(words, kind, buttons = []) {
	const li = document.createElement("li");
	li.className = "finding " + kind;
	li.append(words);
	if (!buttons.length) return li;
	const box = document.createElement("span");
	box.className = "remedies";
	box.append(...buttons.map(remedy));
	li.append(" ", box);
	return li;
}

/** @param {Button} x */
function remedy(x) {
	const b = document.createElement("button");
	b.type = "button";
	b.textContent = x.label;
	b.dataset.do = "found-" + x.do;
	if (x.n !== undefined) b.dataset.n = String(x.n);
	if (x.at) b.dataset.at = x.at.join();
	if (x.do === "frame") {
		b.dataset.do = "exposure";
		b.dataset.n = String(x.n || 0);
		b.classList.add("hold");
	}
	if (x.do === "spots") b.setAttribute("aria-pressed", "false");
	return b;
}

/** @param {Facts} f */
function edits(f) {
	el("edits").replaceChildren(...f.edits.map((x) => {
		const what = x.what.charAt(0).toUpperCase() + x.what.slice(1);
		const li = line(`${what} was ${x.action === "soften" ? "made unreadable" : "taken out"}.`, "note", [{ do: "put-back", label: "Put it back", n: x.id }]);
		li.querySelector("button")?.setAttribute("aria-label", "Put back: " + x.what);
		return li;
	}));
}

/** Takes up a tool, with the keys on the picture. @param {string} name */
function takeUp(name) {
	setTool(name);
	sheet.focus();
	el("stage").scrollIntoView({ block: "nearest" });
}

/** @param {string} beside */
function compareWith(beside) {
	/** @type {HTMLSelectElement} */ (el("beside")).value = beside;
	takeUp("compare");
}

/** @param {HTMLElement} b */
async function act(b) {
	switch (b.dataset.do?.slice("found-".length)) {
	case "closer": {
		const [x, y, w, h] = (b.dataset.at || "0,0,1,1").split(",").map(Number);
		takeUp("look");
		return zoomTo("full", { x: x + w / 2, y: y + h / 2 });
	}
	case "spots": {
		const on = b.getAttribute("aria-pressed") !== "true";
		b.setAttribute("aria-pressed", String(on));
		return showSpots(on);
	}
	case "white":
	case "upright": return takeUp(b.dataset.do.slice("found-".length));
	case "light": {
		const ev = /** @type {HTMLInputElement} */ (document.querySelector("#light-room [name=ev]"));
		ev.focus();
		return ev.select();
	}
	case "compare": return compareWith("unaltered");
	case "middle": return compareWith("middle");
	case "put-back":
		if (await post("/unedit/" + id, { id: Number(b.dataset.n) })) say("Put back.");
		return load();
	case "out": return /** @type {HTMLElement} */ (document.querySelector(".top [data-do=out]")).click();
	case "walk": location.href = "/"; return;
	case "deliver": location.href = "/deliver";
	}
}

/** The ears. */
export function begin() {
	let last = "";
	known((f) => {
		const now = JSON.stringify([f.findings, f.edits, f.checking === ""]);
		if (now === last) return; // a button that is being pressed stays
		last = now;
		findings(f);
		edits(f);
	});
	document.addEventListener("click", (e) => {
		const b = /** @type {HTMLElement} */ (e.target).closest("[data-do^=found-]");
		if (b instanceof HTMLElement) act(b);
	});
}
