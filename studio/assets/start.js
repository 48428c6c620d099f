// The page without a shoot.
import { post } from "./net.js";

document.addEventListener("click", async (e) => {
	const b = /** @type {HTMLElement} */ (e.target).closest("[data-do=open]");
	if (!(b instanceof HTMLElement)) return;
	const to = await post("/enter", { dir: b.dataset.dir });
	if (to) location.href = to.to;
});
