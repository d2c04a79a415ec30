// Keeps parts of a page up to date by server-sent events, for as long as the page is looked at.
// A part is replaced only when it changed, and never under the reader's hand.
"use strict";

(() => {
  const sign = document.querySelector("[data-live]");
  if (!sign || !("EventSource" in self)) return;
  const say = sign.dataset;
  let source;
  let again;
  let held; // what came while a part was in use

  const inUse = (part) => part.contains(document.activeElement) && document.activeElement !== part;
  const show = (now) => {
    held = undefined;
    let changed = false;
    for (const [name, { html, version }] of Object.entries(now.parts)) {
      const part = document.querySelector(`[data-part="${CSS.escape(name)}"]`);
      if (!part || part.dataset.version === version) continue;
      if (part.innerHTML.trim() === html.trim()) {
        part.dataset.version = version;
        continue;
      }
      if (inUse(part)) {
        held = now;
        continue;
      }
      const open = [...part.querySelectorAll("details")].map((d) => d.open);
      const scrolled = [...part.querySelectorAll(".chartbox, .tablebox")].map((b) => b.scrollLeft);
      part.innerHTML = html;
      part.querySelectorAll("details").forEach((d, i) => (d.open = open[i] ?? d.open));
      part.querySelectorAll(".chartbox, .tablebox").forEach((b, i) => (b.scrollLeft = scrolled[i] ?? 0));
      part.dataset.version = version;
      part.dispatchEvent(new CustomEvent("shown", { bubbles: true }));
      changed = true;
    }
    const text = changed || !sign.textContent || sign.dataset.away ? say.updated.replace("{0}", now.at) : sign.textContent;
    if (sign.textContent !== text) sign.textContent = text;
    delete sign.dataset.away;
  };

  const away = () => {
    sign.textContent = say.lost;
    sign.dataset.away = "yes";
  };
  const close = () => {
    clearTimeout(again);
    source?.close();
    source = undefined;
  };
  const open = () => {
    close();
    source = new EventSource(say.live);
    source.addEventListener("message", (event) => show(JSON.parse(event.data)));
    source.addEventListener("error", () => {
      away();
      // The browser comes again by itself, except where it was refused.
      if (source.readyState === EventSource.CLOSED) again = setTimeout(open, 60000);
    });
  };

  document.addEventListener("focusout", () => setTimeout(() => held && show(held)));
  // A page in the background holds no connection.
  document.addEventListener("visibilitychange", () => (document.visibilityState === "visible" ? open() : close()));
  addEventListener("pagehide", close);
  addEventListener("pageshow", () => document.visibilityState === "visible" && !source && open());
})();
