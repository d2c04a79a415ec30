// The service worker: keeps the grower's pages for when there is no signal, and sends what was
// filled in meanwhile once there is one. VERSION and SHELL are written above by the gateway.
"use strict";
importScripts("/static/queue.js");

const forms = self.waitingForms;
const shell = "shell-" + VERSION;
const pages = "pages";
const mostPages = 40;
const mostSettled = 20;
const patience = 6000; // ms for a page of which an older copy is at hand
const queued = ["/push", "/pick/weigh"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(shell).then((cache) => cache.addAll(SHELL)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const tidy = async () => {
    for (const name of await caches.keys()) if (name !== shell && name !== pages) await caches.delete(name);
    await self.clients.claim();
    await fetchWaitingPage();
  };
  event.waitUntil(tidy());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    if (request.method === "GET") event.respondWith(visit(event, url));
    else if (queued.includes(url.pathname)) event.respondWith(submit(event, url));
    else if (url.pathname === "/start" || url.pathname === "/language") event.respondWith(change(request, url));
  } else if (request.method === "GET" && SHELL.includes(url.pathname)) {
    event.respondWith(caches.match(url.pathname, { cacheName: shell }).then((kept) => kept ?? fetch(request)));
  }
});

self.addEventListener("sync", (event) => event.waitUntil(send()));
self.addEventListener("message", (event) => {
  if (event.data === "send") event.waitUntil(send());
});

// ---- pages

// visit shows a page as the suite has it now, or as it was last seen.
const visit = async (event, url) => {
  const old = await seen(url);
  const fresh = fetch(event.request).then((answer) => {
    event.waitUntil(keep(url, answer.clone()));
    return answer;
  });
  if (!old) return fresh.catch(waitingPage);
  const late = new Promise((done) => setTimeout(done, patience, old));
  return Promise.race([fresh, late]).catch(() => old);
};

// keep stores a page that the suite says may be kept, under the name that it gives it.
const keep = async (url, answer) => {
  const person = answer.headers.get("Breakshare-Person");
  if (person && person !== (await forms.note("person"))) {
    await forget();
    await forms.setNote("person", person);
    if (url.pathname !== "/waiting") await fetchWaitingPage();
  }
  const name = answer.headers.get("Breakshare-Keep");
  if (!name || !answer.ok) return;
  const headers = new Headers(answer.headers);
  headers.set("Breakshare-Seen", new Date().toISOString());
  const cache = await caches.open(pages);
  await cache.put(name, new Response(await answer.text(), { headers }));
  if (!url.searchParams.has("day")) await forms.setNote("page:" + url.pathname, name);
  const kept = await cache.keys();
  for (const one of kept.slice(0, Math.max(0, kept.length - mostPages))) await cache.delete(one);
};

// seen is the last copy of a page. Its forms get request ids of their own, as fresh pages' do,
// and what was done then is not said again.
const seen = async (url) => {
  const path = url.pathname === "/" ? "/push" : url.pathname;
  const day = url.searchParams.get("day");
  const name = day ? path + "?day=" + encodeURIComponent(day) : ((await forms.note("page:" + path)) ?? path);
  const kept = await caches.match(name, { cacheName: pages });
  if (!kept) return undefined;
  const text = (await kept.text())
    .replace(/name="request_id" value="[^"]*"/g, () => `name="request_id" value="${crypto.randomUUID()}"`)
    .replace(/<p class="done"[^]*?<\/p>/, "")
    .replace("<body", `<body data-seen="${kept.headers.get("Breakshare-Seen")}"`);
  return new Response(text, { headers: kept.headers });
};

const fetchWaitingPage = async () => {
  try {
    await keep(new URL("/waiting", self.location), await fetch("/waiting"));
  } catch {
    // Without a signal it is fetched another time.
  }
};

const waitingPage = async () => (await seen(new URL("/waiting", self.location))) ?? Response.error();

// change is for a visitor who becomes somebody else or reads another language: nothing of what
// was kept for the last one stays but what still has to go.
const change = async (request, url) => {
  try {
    const answer = await fetch(request);
    await caches.delete(pages);
    if (url.pathname === "/start") await forget();
    else await fetchWaitingPage();
    return answer;
  } catch {
    return waitingPage();
  }
};

const forget = async () => {
  await caches.delete(pages);
  await forms.setNote("person", "");
  for (const form of await forms.all()) if (form.state !== "waits") await forms.remove(form.id);
};

// ---- forms

// submit sends a form, and keeps it where nothing can be reached.
const submit = async (event, url) => {
  const form = new URLSearchParams(await event.request.clone().text());
  const id = form.get("request_id");
  try {
    const answer = await fetch(event.request);
    if (answer.type === "opaqueredirect") event.waitUntil(settle(id, "sent", []));
    return answer;
  } catch {
    await forms.put({
      id, path: url.pathname, body: form.toString(), person: (await forms.note("person")) ?? "",
      about: form.get("about") ?? "", at: Date.now(), state: "waits", lines: [],
    });
    self.registration.sync?.register("send").catch(() => {}); // without it, the page's own signal does
    const from = event.request.referrer ? new URL(event.request.referrer) : new URL("/waiting", self.location);
    const back = (await seen(from)) ? from.pathname + from.search : "/waiting";
    return Response.redirect(back, 303);
  }
};

// settle notes what became of a form that waited.
const settle = async (id, state, lines) => {
  const form = await forms.get(id);
  if (!form) return;
  await forms.put({ ...form, state, lines });
  const settled = (await forms.all()).filter((one) => one.state === "sent" || one.state === "late");
  for (const one of settled.slice(0, Math.max(0, settled.length - mostSettled))) await forms.remove(one.id);
  for (const client of await self.clients.matchAll()) client.postMessage("changed");
};

// send sends what waits, oldest first, one round at a time. Asked for meanwhile, another round
// follows: the signal may have come back since this one failed. A form keeps its request id,
// so that one whose answer was lost is taken once.
let sending;
let anew;
const send = () => {
  anew = true;
  const rounds = async () => {
    while (anew) {
      anew = false;
      await sendAll();
    }
  };
  return (sending ??= rounds().finally(() => (sending = undefined)));
};

const sendAll = async () => {
  const person = await forms.note("person");
  const changed = new Set();
  for (const { id } of (await forms.all()).filter((form) => form.state === "waits" && form.person === person)) {
    const form = await forms.get(id); // an earlier one may have changed it
    let told;
    try {
      const answer = await fetch("/waited" + form.path, {
        method: "POST", body: form.body, signal: AbortSignal.timeout(20000),
        headers: { "Content-Type": "application/x-www-form-urlencoded", "Breakshare-Person": person },
      });
      if (!answer.ok) break; // not decided: it waits on
      told = await answer.json();
    } catch {
      break;
    }
    await follow(form, told.versions ?? {});
    await settle(id, told.state, told.lines ?? []);
    const day = new URLSearchParams(form.body).get("day");
    for (const path of ["/push", "/pick"]) changed.add(path + "?day=" + encodeURIComponent(day));
  }
  for (const name of changed) {
    if (!(await caches.match(name, { cacheName: pages }))) continue;
    try {
      await keep(new URL(name, self.location), await fetch(name));
    } catch {
      return; // the old copy stays
    }
  }
};

// follow has the later pushes of a day stand on the versions that this one has made: they were
// filled in after it.
const follow = async (sent, versions) => {
  const before = new URLSearchParams(sent.body);
  for (const form of await forms.all()) {
    const body = new URLSearchParams(form.body);
    if (form.state !== "waits" || form.id === sent.id || form.at < sent.at || form.path !== sent.path || form.person !== sent.person || body.get("day") !== before.get("day")) continue;
    for (const [field, version] of Object.entries(versions)) if (body.get(field) === before.get(field)) body.set(field, version);
    await forms.put({ ...form, body: body.toString() });
  }
  for (const client of await self.clients.matchAll()) client.postMessage({ day: before.get("day"), versions });
};
