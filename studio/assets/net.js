// What every page needs: asking the server, saying what it answers, hearing events.

/** @typedef {{kind: string, rev?: number, view?: string, step?: string, done?: number, total?: number, note?: string, state?: string}} Event */

/** Says a sentence to the person; an empty one goes away.
 * @param {string} sentence
 * @param {number} [seconds] how long it stays */
export function say(sentence, seconds = 6) {
	const p = /** @type {HTMLElement} */ (document.getElementById("said"));
	p.textContent = sentence;
	clearTimeout(say.timer);
	if (sentence && seconds) say.timer = setTimeout(() => { p.textContent = ""; }, 1000 * seconds);
}
/** @type {number | undefined} */
say.timer = undefined;

/** Says in the strip what goes on behind the page; nothing takes it away.
 * @param {string} words */
export function going(words) {
	const p = document.getElementById("going");
	if (p && p.textContent !== words) p.textContent = words;
}

/** Follows the check of the brackets, which goes on behind all pages.
 * @param {Event} e
 * @param {() => void} through the page shows what was found */
export function checking(e, through) {
	if (e.kind !== "check") return;
	if (e.state === "running") return going(`Looking whether every bracket is complete, sharp and exposed: ${e.done} of ${e.total}.`);
	going("");
	tell("Every bracket was looked at");
	through();
}

/** Tells those who listen to the page what others see on it.
 * @param {string} words */
export function tell(words) {
	const p = document.getElementById("told");
	if (p) p.textContent = sentence(words);
}

/** Asks the server to do something. It says what went wrong and returns null then.
 * @param {string} path
 * @param {unknown} [body]
 * @returns {Promise<any>} */
export async function post(path, body = {}) {
	try {
		const r = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
		const answer = await r.json().catch(() => ({}));
		if (r.ok) return answer;
		say(sentence(answer.error || "The studio could not do this."), 12);
	} catch {
		gone();
	}
	return null;
}

/** @param {string} text */
function sentence(text) {
	const s = text.charAt(0).toUpperCase() + text.slice(1);
	return /[.!?]$/.test(s) ? s : s + ".";
}

/** Gets something as text; null when the server doesn't give it, or is gone.
 * @param {string} path @returns {Promise<string | null>} */
export async function get(path) {
	try {
		const r = await fetch(path);
		return r.ok ? await r.text() : null;
	} catch {
		return null;
	}
}

/** Says that the server has stopped. */
export function gone() {
	say("The studio has stopped. What was done is kept. Start it again with the same command.", 0);
}

/** Calls fn for every event, and back() when the connection was lost and is there again.
 * @param {(e: Event) => void} fn
 * @param {() => void} [back] */
export function listen(fn, back) {
	const stream = new EventSource("/events");
	let lost = false;
	stream.onmessage = (m) => fn(JSON.parse(m.data));
	stream.onerror = () => {
		lost = true;
		gone();
	};
	stream.onopen = () => {
		document.documentElement.dataset.live = "true";
		if (!lost) return;
		lost = false;
		say("");
		if (back) back();
	};
	addEventListener("pagehide", () => stream.close());
}

/** Carries out the undo and redo buttons of a page, and the keys that do the same.
 * @param {() => void} after */
export function history(after) {
	const turn = async (/** @type {string} */ what) => {
		if (!await post("/" + what)) return;
		say(what === "undo" ? "Taken back." : "Done again.", 3);
		after();
	};
	document.addEventListener("click", (e) => {
		const b = /** @type {HTMLElement} */ (e.target).closest("[data-do=undo], [data-do=redo]");
		if (b instanceof HTMLButtonElement && b.dataset.do) turn(b.dataset.do);
	});
	document.addEventListener("keydown", (e) => {
		if (!(e.ctrlKey || e.metaKey) || e.key.toLowerCase() !== "z" || typing(e.target)) return;
		e.preventDefault();
		turn(e.shiftKey ? "redo" : "undo");
	});
}

/** Reports whether keys go into a field.
 * @param {EventTarget | null} t */
export function typing(t) {
	return t instanceof HTMLInputElement && t.type !== "range" && t.type !== "checkbox" || t instanceof HTMLTextAreaElement || t instanceof HTMLSelectElement;
}
