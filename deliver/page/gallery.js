
"use strict";
// The page works without this script: every photograph is a link to its file.
const shots = [...document.querySelectorAll("a.shot")];
const view = document.getElementById("view"), big = document.getElementById("big"), where = document.getElementById("where"), twin = document.getElementById("twin");
let at = 0;
function show(i) {
  at = (i + shots.length) % shots.length;
  const a = shots[at];
  big.src = a.href;
  big.alt = a.querySelector("img").alt;
  where.textContent = a.dataset.name + " \u2003 " + (at + 1) + " of " + shots.length;
  if (a.dataset.text) where.appendChild(document.createElement("span")).textContent = a.dataset.text;
  twin.hidden = !a.dataset.unaltered;
  twin.setAttribute("aria-pressed", "false");
  twin.textContent = "Show it unaltered";
  if (!view.open) view.showModal();
  for (const n of [1, -1]) new Image().src = shots[(at + n + shots.length) % shots.length].href;
}
shots.forEach((a, i) => a.addEventListener("click", e => {
  if (e.ctrlKey || e.metaKey || e.shiftKey || e.button) return;
  e.preventDefault();
  show(i);
}));
twin.addEventListener("click", () => {
  const on = twin.getAttribute("aria-pressed") !== "true";
  twin.setAttribute("aria-pressed", on);
  big.src = on ? shots[at].dataset.unaltered : shots[at].href;
  twin.textContent = on ? "Show it as delivered" : "Show it unaltered";
});
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
// The stop of the room that is being looked at.
const stops = [...document.querySelectorAll("nav a")];
if (stops.length && "IntersectionObserver" in window) {
  const seen = new Set(), panes = [...document.querySelectorAll(".panes > li")];
  const mark = () => {
    const first = panes.find(p => seen.has(p));
    if (!first) return;
    const n = +first.id.slice(1);
    let current = stops[0];
    for (const s of stops) if (+s.hash.slice(2) <= n) current = s;
    for (const s of stops) s === current ? s.setAttribute("aria-current", "true") : s.removeAttribute("aria-current");
    const strip = current.closest("ol");
    if (strip.scrollWidth > strip.clientWidth) strip.scrollLeft = current.offsetLeft - strip.offsetLeft - 40;
  };
  const watch = new IntersectionObserver(list => { for (const e of list) e.isIntersecting ? seen.add(e.target) : seen.delete(e.target); mark(); }, { rootMargin: "-20% 0px -45% 0px" });
  panes.forEach(p => watch.observe(p));
  stops[0].setAttribute("aria-current", "true");
}
// From a folder, everything is at hand already, and the archive may not have come along.
if (location.protocol === "file:") document.getElementById("all")?.remove();
