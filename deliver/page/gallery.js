
"use strict";
// The page works without this script: every photograph is a link to its file.
const shots = [...document.querySelectorAll("a.shot")];
const view = document.getElementById("view"), big = document.getElementById("big"), where = document.getElementById("where");
let at = 0;
function show(i) {
  at = (i + shots.length) % shots.length;
  const a = shots[at];
  big.src = a.href;
  big.alt = a.querySelector("img").alt;
  where.textContent = a.dataset.name + " \u2003 " + (at + 1) + " of " + shots.length;
  if (!view.open) view.showModal();
  for (const n of [1, -1]) new Image().src = shots[(at + n + shots.length) % shots.length].href;
}
shots.forEach((a, i) => a.addEventListener("click", e => {
  if (e.ctrlKey || e.metaKey || e.shiftKey || e.button) return;
  e.preventDefault();
  show(i);
}));
document.getElementById("prev").addEventListener("click", () => show(at - 1));
document.getElementById("next").addEventListener("click", () => show(at + 1));
document.getElementById("close").addEventListener("click", () => view.close());
view.addEventListener("close", () => { big.removeAttribute("src"); shots[at].focus({ preventScroll: true }); shots[at].scrollIntoView({ block: "nearest" }); });
view.addEventListener("keydown", e => {
  const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: shots.length - 1 }[e.key];
  if (to === undefined || e.altKey || e.ctrlKey || e.metaKey) return;
  e.preventDefault();
  show(to);
});
let from = null;
view.addEventListener("touchstart", e => { from = e.touches.length === 1 ? e.touches[0] : null; }, { passive: true });
view.addEventListener("touchend", e => {
  if (!from) return;
  const dx = e.changedTouches[0].clientX - from.clientX, dy = e.changedTouches[0].clientY - from.clientY;
  if (Math.abs(dx) > 50 && Math.abs(dx) > 2 * Math.abs(dy) && (!window.visualViewport || visualViewport.scale < 1.05)) show(at + (dx < 0 ? 1 : -1));
  from = null;
});
