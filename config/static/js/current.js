// A region that renews itself every minute: what was opened in it stays open, and it says so when it is out of date.
"use strict";
{
  const STALE_MS = 5 * 60 * 1000;
  const LOOK_MS = 10 * 1000;
  let renewed = performance.now();
  let open = [];

  const region = () => document.querySelector("[data-keeps-current]");

  document.addEventListener("htmx:beforeSwap", (event) => {
    if (!event.target.matches("[data-keeps-current]")) return;
    open = Array.from(event.target.querySelectorAll("details[open]"), (details) => details.id);
  });

  document.addEventListener("htmx:afterSwap", () => {
    for (const id of open) document.getElementById(id)?.setAttribute("open", "");
    open = [];
    renewed = performance.now();
  });

  setInterval(() => {
    const stale = performance.now() - renewed > STALE_MS;
    region()?.classList.toggle("not-current", stale);
    region()?.querySelector("[data-stale]").toggleAttribute("hidden", !stale);
  }, LOOK_MS);
}
