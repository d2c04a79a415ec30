// What was sent without a signal, kept on this phone until it has gone. The page and the
// service worker share it.
"use strict";

self.waitingForms = (() => {
  const request = (r) => new Promise((done, fail) => ((r.onsuccess = () => done(r.result)), (r.onerror = () => fail(r.error))));
  let opened;
  const open = () =>
    (opened ??= new Promise((done, fail) => {
      const r = indexedDB.open("breakshare", 1);
      r.onupgradeneeded = () => {
        r.result.createObjectStore("forms", { keyPath: "id" });
        r.result.createObjectStore("notes");
      };
      r.onsuccess = () => done(r.result);
      r.onerror = () => ((opened = undefined), fail(r.error));
    }));
  const on = async (store, mode, work) => request(work((await open()).transaction(store, mode).objectStore(store)));

  return {
    // A form: id (its request id), path, body, person, about, at (ms since 1970), state, lines.
    put: (form) => on("forms", "readwrite", (s) => s.put(form)),
    get: (id) => on("forms", "readonly", (s) => s.get(id)),
    remove: (id) => on("forms", "readwrite", (s) => s.delete(id)),
    all: async () => (await on("forms", "readonly", (s) => s.getAll())).sort((a, b) => a.at - b.at),
    // Notes are single values by name.
    note: (name) => on("notes", "readonly", (s) => s.get(name)),
    setNote: (name, value) => on("notes", "readwrite", (s) => s.put(value, name)),
  };
})();
