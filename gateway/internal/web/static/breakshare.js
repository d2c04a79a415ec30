// What pages gain where a browser runs scripts. Every form works without.
"use strict";

(() => {
  const decimal = document.documentElement.lang === "de" ? "," : ".";

  // Figures as people type them, in thousandths, so that no fraction is lost.
  const read = (input) => {
    const text = input.value.trim().replace(",", ".");
    if (!/^\d{0,7}(\.\d{0,3})?$/.test(text) || text === "" || text === ".") return null;
    return Math.round(Number(text) * 1000);
  };
  const write = (input, thousandths) => {
    const whole = Math.floor(thousandths / 1000);
    const rest = String(thousandths % 1000).padStart(3, "0").replace(/0+$/, "");
    input.value = rest ? whole + decimal + rest : String(whole);
  };

  // stepped puts a smaller and a larger button beside an input. changed is told the figure
  // before and after.
  const stepped = (input, step, changed) => {
    const label = document.querySelector(`label[for="${CSS.escape(input.id)}"]`).textContent.trim();
    const box = document.createElement("span");
    box.className = "stepped";
    input.replaceWith(box);
    const button = (sign, by) => {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = sign;
      b.setAttribute("aria-label", `${label} ${sign}`);
      b.addEventListener("click", () => {
        const before = read(input) ?? 0;
        const after = Math.max(0, before + by);
        write(input, after);
        changed(before, after);
      });
      return b;
    };
    box.append(button("−", -step), input, button("+", step));
  };

  // A push: the likely figure has the steppers; the least and the most keep their distance
  // from it in proportion.
  for (const row of document.querySelectorAll(".pushrow")) {
    const [low, likely, high] = ["low.", "likely.", "high."].map((part) => row.querySelector(`input[name^="${part}"]`));
    stepped(likely, Number(row.dataset.steps), (before, after) => {
      for (const side of [low, high]) {
        const figure = read(side);
        if (figure === null || before === 0) write(side, after);
        else write(side, Math.round((figure * after) / before / 100) * 100);
      }
      const bound = (side, pick) => write(side, pick(read(side), after));
      bound(low, Math.min);
      bound(high, Math.max);
    });
  }
  for (const field of document.querySelectorAll(".quantities [data-steps]")) {
    stepped(field.querySelector("input"), Number(field.dataset.steps), () => {});
  }

  // Ticks of the pack list stay on this phone until the next day's list.
  for (const tick of document.querySelectorAll("[data-tick]")) {
    const key = "tick." + tick.dataset.tick;
    tick.checked = localStorage.getItem(key) === "yes";
    tick.addEventListener("change", () => (tick.checked ? localStorage.setItem(key, "yes") : localStorage.removeItem(key)));
  }

  // A phone's photo is made small enough to be taken; where that fails, it is sent as it is and
  // the page says what is wrong with it.
  const shrink = async (input) => {
    const [file] = input.files;
    if (!file || file.size < 1500000) return;
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, 1600 / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = [Math.round(picture.width * scale), Math.round(picture.height * scale)];
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const small = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.85));
    const files = new DataTransfer();
    files.items.add(new File([small], "photo.jpg", { type: "image/jpeg" }));
    input.files = files.files;
  };
  for (const input of document.querySelectorAll("[data-photo]")) {
    input.addEventListener("change", () => shrink(input).catch(() => {}));
  }

  // Time until the cut-off counts down on this device's own clock, from what the server said was
  // left.
  for (const timer of document.querySelectorAll("[data-left]")) {
    const begun = performance.now();
    const show = () => {
      const minutes = Math.floor((Number(timer.dataset.left) - (performance.now() - begun) / 1000) / 60);
      if (minutes < 0) timer.textContent = timer.dataset.over;
      else timer.textContent = timer.dataset.says.replace("{0}", Math.floor(minutes / 60)).replace("{1}", minutes % 60);
      if (minutes >= 0) setTimeout(show, 5000);
    };
    show();
  }

  // A table sorts where it stands; one of which a part is shown asks the server. What a cell
  // sorts by is written on it where it is not its text.
  const inOrder = new Intl.Collator(document.documentElement.lang, { numeric: true });
  const sorts = (table) => {
    const heads = [...table.tHead.rows[0].cells];
    const sortBy = (column) => {
      const head = heads[column];
      const down = head.getAttribute("aria-sort") === "ascending";
      const key = (row) => row.cells[column].dataset.s ?? row.cells[column].textContent.trim();
      const compare = (a, b) => {
        const [x, y] = [key(a), key(b)];
        if (x === "none" || y === "none") return (x === "none") - (y === "none");
        const by = head.classList.contains("n") ? Number(x) - Number(y) : inOrder.compare(x, y);
        return down ? -by : by;
      };
      table.tBodies[0].append(...[...table.tBodies[0].rows].sort(compare));
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
    };
    heads.forEach((head, column) => {
      let button = head.querySelector("button");
      if (!button) {
        button = document.createElement("button");
        button.className = "sort";
        button.append(...head.childNodes);
        head.append(button);
      }
      button.type = "button";
      button.addEventListener("click", () => sortBy(column));
    });
  };
  document.querySelectorAll("table[data-sorts]").forEach(sorts);
  document.addEventListener("shown", (event) => event.target.querySelectorAll("table[data-sorts]").forEach(sorts));

  // A refused form is read from its first wrong field on.
  document.querySelector("[aria-invalid]")?.focus();

  // A match tells how far it has come. Where that fails, the form is sent as it is: its
  // request id has the match run once either way.
  const follow = async (form) => {
    const day = form.elements.day.value;
    const body = JSON.stringify({ request_id: form.elements.request_id.value, delivery_date: day });
    const again = form.dataset.changes !== undefined;
    const address = again ? `/v1/days/${encodeURIComponent(day)}:rebalance` : "/v1/matches";
    const answer = await fetch(address, { method: "POST", headers: { "Content-Type": "application/json" }, body });
    if (!answer.ok) throw new Error(answer.statusText);
    const lines = answer.body.pipeThrough(new TextDecoderStream()).getReader();
    let text = "";
    for (let done = false; !done; ) {
      const part = await lines.read();
      done = part.done;
      text += part.value ?? "";
      for (let end = text.indexOf("\n"); end >= 0; end = text.indexOf("\n")) {
        const step = JSON.parse(text.slice(0, end)).result.step.replace("MATCH_STEP_", "").toLowerCase();
        text = text.slice(end + 1);
        form.querySelector("[role=status]").textContent = form.dataset[step] ?? "";
      }
    }
    // What a rebalance changes is shown by the form's own answer: the same request id has the same.
    if (again) form.submit();
    else location.assign("/tomorrow?day=" + encodeURIComponent(day));
  };

  // A form that is on its way is not sent again by an impatient finger.
  for (const form of document.querySelectorAll('form[method="post"]')) {
    form.addEventListener("submit", (event) => {
      if (form.dataset.sent) event.preventDefault();
      else if (form.dataset.solving) {
        event.preventDefault();
        follow(form).catch(() => form.submit());
      }
      form.dataset.sent = "yes";
    });
  }
  addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
  });
})();
