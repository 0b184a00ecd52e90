// Watches over a page: says within 3 s that the server or the page's kernel is gone, keeps what was
// typed, and brings the page back when it can. Asked for with the address that tells how things are
// ({alive, connected}, or as Jupyter describes a kernel), and with what loads the page again.
window.workbookWatch = (ask, again = () => location.reload()) => {
  const STORE = `workbook-typed:${location.pathname}`, KEEP = 600_000, CALM = 300_000;
  const WORDS = {
    server: "The workbook’s computer does not answer. What you typed is kept, and this page goes on by itself when it answers.",
    kernel: "This page was cut off from its computation. What you typed is kept; one moment.",
    calm: "This page slept. Touch it to go on; what you typed is kept.",
  };
  const FIELDS = 'input:not([type="file"], [type="button"], [type="password"]), select, textarea';
  let touched = Date.now(), missed = 0, unheard = -60, state = "", ending = false;
  const bar = document.createElement("div");
  bar.setAttribute("role", "alert");
  bar.className = "workbook-gone";
  bar.hidden = true;
  document.body.prepend(bar);

  const name = (field) => [
    field.labels?.[0]?.textContent ?? field.getAttribute("aria-label") ?? "",
    field.closest("fieldset")?.querySelector("legend")?.textContent ?? "", field.type, field.type === "radio" || field.type === "checkbox" ? field.value : "",
  ].join("|").trim();
  const mine = new WeakSet(); // what this person changed on this page
  const keep = () => {
    const kept = {};
    for (const field of document.querySelectorAll(FIELDS)) {
      if (mine.has(field)) kept[name(field)] = field.type === "checkbox" || field.type === "radio" ? field.checked : field.value;
    }
    try { sessionStorage.setItem(STORE, JSON.stringify({ at: Date.now(), kept })); } catch { /* no room: nothing is kept */ }
  };
  const put = (field, value) => {
    const box = typeof value === "boolean";
    if ((box ? field.checked : field.value) === value) return;
    if (box) field.checked = value; else field.value = value;
    if (!box && field.value !== value) return; // no longer offered
    mine.add(field);
    for (const kind of ["input", "change"]) field.dispatchEvent(new Event(kind, { bubbles: true }));
  };
  let held = { at: 0, kept: {} };
  const giveBack = () => {
    try { held = JSON.parse(sessionStorage.getItem(STORE)) ?? held; sessionStorage.removeItem(STORE); } catch { /* none */ }
    if (Date.now() - held.at > KEEP) return;
    const look = () => {
      for (const field of document.querySelectorAll(FIELDS)) {
        const key = name(field);
        // What is being typed now is newer.
        if (key in held.kept && !mine.has(field)) { put(field, held.kept[key]); delete held.kept[key]; }
      }
      if (!Object.keys(held.kept).length) looking.disconnect();
    };
    const looking = new MutationObserver(look);
    looking.observe(document.body, { childList: true, subtree: true });
    look();
  };

  const show = (now) => {
    if (now === state) return;
    state = now;
    bar.hidden = !now;
    bar.textContent = now ? WORDS[now] : "";
    const saved = document.querySelector("[data-saved]"); // nobody can say so now
    if (saved) saved.parentElement.hidden = Boolean(now);
  };
  const back = () => {
    if (ending) return;
    ending = true;
    keep();
    setTimeout(again, 1200); // long enough to be read
  };
  const look = async () => {
    try {
      const answer = await fetch(ask, { signal: AbortSignal.timeout(1200), cache: "no-store" });
      if (answer.status === 403) { show("server"); return; }
      const told = answer.status === 404 ? { alive: false } : await answer.json();
      const { alive = true, connected = told.connections > 0 } = told;
      missed = 0;
      unheard = connected ? 0 : unheard + 1;
      // A socket that broke comes back by itself within seconds, or not at all.
      if (alive && (connected || unheard < 8)) { show(""); return; }
      // Not by itself where nobody is, nor twice at once: each time costs a kernel.
      if (Date.now() - touched > CALM || Date.now() - held.at < 20_000) show("calm");
      else { show("kernel"); back(); }
    } catch {
      missed += 1;
      if (missed > 1) show("server");
    }
  };
  const turn = async () => {
    if (!document.hidden) await look();
    if (!ending) setTimeout(turn, 800);
  };
  const touch = () => { touched = Date.now(); if (state === "calm") back(); };
  for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, touch, true);
  addEventListener("input", (event) => mine.add(event.target), true);
  addEventListener("click", (event) => {
    if (!state || !event.target.closest?.("button, input[type=checkbox], .wb-upload")) return;
    // Better not done, and seen so, than pressed and lost.
    event.preventDefault();
    event.stopImmediatePropagation();
    bar.animate?.([{ opacity: 0.3 }, { opacity: 1 }], 300);
  }, true);
  giveBack();
  turn();
};
