// What waits on this phone, and what became of it. Without scripts the forms go as they are.
"use strict";

(() => {
  const box = document.querySelector("[data-waiting]");
  if (!box) {
    // Where one becomes somebody else: the ticks of a list are not for the next one.
    for (const key of Object.keys(localStorage)) if (key.startsWith("tick.")) localStorage.removeItem(key);
    return;
  }
  if (!("serviceWorker" in navigator) || !self.indexedDB) return;
  const forms = self.waitingForms;
  const worker = navigator.serviceWorker;
  const say = box.dataset;
  const time = new Intl.DateTimeFormat(document.documentElement.lang, { weekday: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23" });

  const element = (name, className, text) => {
    const e = document.createElement(name);
    if (className) e.className = className;
    e.textContent = text ?? "";
    return e;
  };
  const button = (text, about, act) => {
    const b = element("button", "quiet", text);
    b.type = "button";
    b.append(element("span", "unseen", " " + about));
    b.addEventListener("click", act);
    return b;
  };

  // What a form says, shortly.
  const figures = (form) => {
    const body = new URLSearchParams(form.body);
    if (form.path === "/pick/weigh") return body.get("gross_grams") + " − " + (body.get("tare_grams") || "0");
    return [...body].filter(([name, value]) => name.startsWith("likely.") && value.trim()).map(([, value]) => value.trim()).join(" · ");
  };

  // A form that needs a decision is sent as it was filled in: the page that answers shows what
  // is wrong beside the fields, or what the others have pushed.
  const open = (form) => {
    const again = document.createElement("form");
    again.method = "post";
    again.action = form.path;
    again.hidden = true;
    for (const [name, value] of new URLSearchParams(form.body)) {
      const field = document.createElement("input");
      field.type = "hidden";
      [field.name, field.value] = [name, value];
      again.append(field);
    }
    document.body.append(again);
    again.submit();
  };

  const list = box.querySelector("ul");
  const draw = async () => {
    const all = (await forms.all()).filter((form) => form.person === say.person);
    list.replaceChildren(
      ...all.map((form) => {
        const item = element("li", form.state === "refused" || form.state === "conflict" ? "short" : "");
        const row = element("div", "row");
        const about = document.createElement("b");
        about.append(element("bdi", "", form.about));
        row.append(about, element("span", "", figures(form)), element("span", "state", time.format(form.at)), element("b", "figure", say[form.state]));
        item.append(row, ...form.lines.map((line) => element("p", "why", line)));
        const acts = element("div", "actions");
        if (form.state === "refused" || form.state === "conflict") acts.append(button(say[form.state === "conflict" ? "choose" : "mend"], form.about, () => open(form)));
        if (form.state !== "waits") acts.append(button(say.remove, form.about, () => forms.remove(form.id).then(draw)));
        if (acts.childNodes.length) item.append(acts);
        return item;
      }),
    );
    retry(all.some((form) => form.state === "waits"));
    const seen = document.body.dataset.seen;
    const old = box.querySelector("[data-old]");
    old.hidden = !seen;
    if (seen) old.textContent = say.seen.replace("{0}", time.format(new Date(seen)));
    box.hidden = all.length === 0 && !seen && !box.hasAttribute("data-always");
    box.querySelector("[data-none]").hidden = all.length > 0;
  };

  // The form on the page takes over what waits of the same day, and the versions that were made.
  const day = document.querySelector(".push [name=day]")?.value;
  const fill = async () => {
    const mine = (await forms.all()).filter((form) => form.person === say.person && form.path === "/push" && form.state === "waits");
    const last = mine.findLast((form) => new URLSearchParams(form.body).get("day") === day);
    if (!last) return;
    for (const [name, value] of new URLSearchParams(last.body)) {
      if (!/^(low|likely|high)\./.test(name)) continue;
      const field = document.querySelector(`.push [name="${CSS.escape(name)}"]`);
      if (field) field.value = value;
    }
  };

  const tell = async () => (await worker.ready).active.postMessage("send");

  // A phone does not always notice that what it wants can be reached again: while something
  // waits on a page that is looked at, it is tried anew, each time after a longer pause.
  let pause = 5000;
  let next;
  const retry = (waits) => {
    clearTimeout(next);
    if (!waits) pause = 5000;
    else if (document.visibilityState === "visible") next = setTimeout(() => ((pause = Math.min(2 * pause, 120000)), tell(), retry(true)), pause);
  };
  worker.addEventListener("message", (event) => {
    if (event.data === "changed") draw();
    else if (event.data.versions && event.data.day === day) {
      for (const [name, version] of Object.entries(event.data.versions)) {
        const field = document.querySelector(`.push [name="${CSS.escape(name)}"]`);
        if (field) field.value = version;
      }
    }
  });
  addEventListener("online", tell);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && tell().then(draw));
  addEventListener("pageshow", draw);
  const elsewhere = document.querySelector("[data-elsewhere]");
  if (elsewhere) elsewhere.hidden = location.pathname === "/waiting";
  worker.register("/worker.js", { scope: "/" }).then(tell, () => {});
  if (document.body.dataset.seen && day && !document.querySelector("[aria-invalid]")) fill();
})();
