// A page of the workbook: HTML from Python put into the tree where it differs, and to Python what was
// pressed, moved, chosen or typed. Native elements do the rest: names, keys, focus, folding.

const DROP = new Set(["script", "iframe", "object", "embed", "link", "meta", "base", "foreignobject", "style", "use", "animate", "set", "video", "audio", "source"]);
// Python escapes every name before it gets here. This is the second lock: whatever could run or
// fetch is dropped even if an escape were forgotten.
const clean = (html) => {
  const body = new DOMParser().parseFromString(html, "text/html").body;
  for (const node of [...body.querySelectorAll("*")]) {
    if (DROP.has(node.localName.toLowerCase())) { node.remove(); continue; }
    for (const { name, value } of [...node.attributes]) {
      const low = name.toLowerCase();
      const link = ["href", "xlink:href", "src", "srcset", "action", "formaction", "data", "poster", "background"].includes(low);
      const own = low === "href" && node.localName === "a" && /^([a-z_]+\.ipynb)?(\?[\w=&%+.-]*)?$/.test(value) && value;
      const good = !link || own || /^data:image\/(png|jpeg);base64,/.test(value) || value.startsWith("#");
      const fetches = low === "style" && /url\(|expression|@import/i.test(value);
      const paints = /url\(/i.test(value) && !/^url\(#[\w-]+\)$/.test(value);
      if (low.startsWith("on") || !good || fetches || paints) node.removeAttribute(name);
    }
  }
  return body;
};

// What is the same stays; a field that somebody changed keeps what was typed until Python means
// another one by it (another id) or gives it another value itself.
const mark = (node) => node.id || node.dataset?.key || node.dataset?.slot || node.classList[0] || "";
const key = (node) => (node.nodeType === 1 ? `${node.localName}#${mark(node)}` : `${node.nodeType}`);
const OWN = ["open", "tabindex", "data-held", "data-known"]; // what the browser remembers of a node
const TYPED = ["input", "textarea", "select"];
const morph = (from, to) => {
  if (from.dataset?.slot !== undefined) return;
  if (from.nodeType !== 1) { if (from.data !== to.data) from.data = to.data; return; }
  const was = from.getAttribute("value"), wasChecked = from.hasAttribute("checked");
  for (const { name } of [...from.attributes]) if (!to.hasAttribute(name) && !OWN.includes(name)) from.removeAttribute(name);
  for (const { name, value } of [...to.attributes]) if (from.getAttribute(name) !== value && !(name === "open" && from.dataset.known)) from.setAttribute(name, value);
  if (from.localName === "details") from.dataset.known = "1";
  if (from.localName === "textarea" || from.localName === "select") {
    if (from.dataset.held === to.innerHTML) return;
    from.dataset.held = to.innerHTML;
  }
  if (from.localName === "input") {
    const now = to.getAttribute("value") ?? "";
    if (["checkbox", "radio"].includes(from.type)) { if (wasChecked !== to.hasAttribute("checked")) from.checked = to.hasAttribute("checked"); }
    else if (from.type !== "file" && (was ?? "") !== now) from.value = now;
  }
  children(from, to);
  if (from.localName === "select") from.value = [...from.options].find((o) => o.defaultSelected)?.value ?? from.options[0]?.value ?? "";
  if (from.localName === "textarea") from.value = from.defaultValue;
};
const children = (from, to) => {
  const old = [...from.childNodes];
  const byKey = new Map();
  for (const node of old) { const k = key(node); if (!byKey.has(k)) byKey.set(k, []); byKey.get(k).push(node); }
  let place = from.firstChild;
  for (const wanted of [...to.childNodes]) {
    const match = byKey.get(key(wanted))?.shift();
    if (match) {
      if (match === place) place = place.nextSibling; else from.insertBefore(match, place);
      morph(match, wanted);
    } else from.insertBefore(seen(wanted), place);
  }
  for (const some of byKey.values()) for (const node of some) node.remove();
};
const arrived = []; // what was put in by the last drawing
const seen = (node) => { // what arrives new remembers what it came with
  if (node.nodeType === 1) arrived.push(node);
  for (const one of node.nodeType === 1 ? [node, ...node.querySelectorAll("textarea, select, details")] : []) {
    if (one.localName === "textarea" || one.localName === "select") one.dataset.held = one.innerHTML;
    if (one.localName === "details") one.dataset.known = "1";
  }
  return node;
};

const fieldsOf = (root) => {
  const found = {};
  for (const one of root.querySelectorAll("[name]")) {
    if (!TYPED.includes(one.localName) || one.type === "file") continue;
    if (one.type === "radio") { if (one.checked) found[one.name] = one.value; }
    else if (one.type === "checkbox") found[one.name] = [found[one.name], one.checked ? one.value : ""].filter(Boolean).join("\n");
    else found[one.name] = one.value;
  }
  return found;
};

const clock = (root) => {
  for (const one of root.querySelectorAll("[data-since]")) {
    const gone = Math.max(0, Date.now() / 1000 - Number(one.dataset.since));
    const wait = Number(one.dataset.wait || 0);
    const shown = wait > 0 && gone < wait ? Math.ceil(wait - gone) : Math.floor(gone);
    const text = `${Math.floor(shown / 60)}:${String(shown % 60).padStart(2, "0")}`;
    if (one.textContent !== text) one.textContent = text;
    const after = one.parentElement.querySelector("[data-clock-words]");
    const words = wait > 0 && gone < wait ? one.dataset.left : one.dataset.gone;
    if (after && after.textContent !== words) after.textContent = words;
  }
};

export default {
  render({ model, el }) {
    const root = document.createElement("div");
    root.className = "wb";
    root.dataset.lmSuppressShortcuts = "true"; // keys belong to the page, not to JupyterLab
    const status = document.createElement("p");
    status.className = "wb-working";
    status.setAttribute("role", "status");
    status.hidden = true;
    el.append(root, status);
    const own = document.body.dataset.voila !== undefined; // a page with an address of its own
    const saved = document.querySelector("[data-saved]");
    let sent = model.get("answered"), moved = null;
    const waiting = () => sent > model.get("answered"); // Python has not answered all of it yet

    const told = () => {
      const busy = waiting();
      root.setAttribute("aria-busy", String(busy));
      if (saved) saved.textContent = busy ? "saving …" : "saved";
      const words = model.get("working");
      status.textContent = words;
      status.hidden = !words;
    };
    const send = (message) => { sent += 1; told(); model.send({ fields: fieldsOf(root), serial: sent, ...message }); };
    const act = (target, value) => send({ event: "do", do: target.dataset.do, value: value ?? target.dataset.value ?? "" });

    const slots = () => { // widgets that stand by themselves are shown where the page wants them
      for (const slot of root.querySelectorAll("[data-slot]")) {
        const guest = document.querySelector(`.wb-guest-${CSS.escape(slot.dataset.slot)}`);
        if (guest && guest.parentElement !== slot) slot.append(guest);
      }
    };
    const draw = () => {
      const place = root.querySelector("main h1")?.dataset.place;
      const held = root.contains(document.activeElement) ? document.activeElement : null;
      for (const slot of root.querySelectorAll("[data-slot]")) for (const guest of [...slot.children]) el.append(guest);
      children(root, clean(model.get("html")));
      slots();
      for (const button of root.querySelectorAll("button")) button.type = "button";
      clock(root);
      const now = root.querySelector("main h1");
      if (now && now.dataset.place !== place && place !== undefined) { // another screen: from its top
        root.scrollIntoView({ block: "start" }); // whatever box it is that scrolls
        now.tabIndex = -1;
        now.focus({ preventScroll: true });
      } else if (held && (!root.contains(held) || held.disabled)) { // what was pressed is gone: to what came in its place
        const fields = (some) => some.flatMap((one) => [one, ...one.querySelectorAll("*")]).filter((one) => one.matches("input[type=text], textarea") && one.checkVisibility());
        const next = fields(arrived)[0] ?? now;
        if (next === now && now) now.tabIndex = -1;
        next?.focus({ preventScroll: next === now });
      }
      arrived.length = 0;
      const look = root.querySelector("[data-look]");
      if (look?.localName === "details") look.open = true;
      look?.scrollIntoView({ block: "nearest" });
      const title = now?.textContent;
      if (own && title) document.title = title;
    };
    model.on("change:html", draw);
    model.on("change:working", told);
    model.on("change:answered", () => {
      told();
      if (moved && !waiting()) { const next = moved; moved = null; act(next); }
    });
    model.on("change:address", () => {
      const next = model.get("address");
      if (!own) sessionStorage.setItem(`wb:${location.pathname}`, next); // JupyterLab's address is its own
      if (own && location.search !== next) history.pushState(null, "", next || location.pathname);
    });
    model.on("change:download", () => {
      const { name, data } = model.get("download");
      if (!data) return;
      const link = document.createElement("a");
      const [, kind, content] = data.match(/^data:(.*?);base64,(.*)$/);
      const bytes = Uint8Array.from(atob(content), (c) => c.charCodeAt(0));
      link.href = URL.createObjectURL(new Blob([bytes], { type: kind })); link.download = name;
      document.body.append(link); // some browsers want it in the page
      link.click();
      link.remove();
      root.dataset.downloaded = name;
    });
    if (own) addEventListener("popstate", () => send({ event: "open", address: location.search }));

    root.addEventListener("click", (event) => {
      const link = event.target.closest("a[href]");
      if (!own && link?.search) sessionStorage.setItem(`wb:${link.pathname}`, link.search);
      if (own && link?.pathname === location.pathname && !(event.ctrlKey || event.metaKey)) { // a word on its own page
        event.preventDefault();
        send({ event: "open", address: link.search });
        return;
      }
      const pressed = event.target.closest("[data-do]");
      if (!pressed || !root.contains(pressed) || TYPED.includes(pressed.localName)) return;
      event.preventDefault();
      if (!pressed.disabled) act(pressed);
    });
    root.addEventListener("keydown", (event) => { // Enter in a field presses its form's button
      if (event.key !== "Enter" || event.target.localName !== "input" || ["checkbox", "radio"].includes(event.target.type)) return;
      const form = event.target.closest("[data-enter]");
      const named = form && `[data-do="${CSS.escape(form.dataset.enter)}"]`;
      const button = form && (form.querySelector(named) ?? root.querySelector(named));
      if (button) { event.preventDefault(); act(button); }
    });
    root.addEventListener("input", (event) => {
      const one = event.target;
      const said = one.id && root.querySelector(`output[for="${CSS.escape(one.id)}"]`);
      if (said && one.type === "range") {
        const texts = JSON.parse(one.dataset.texts || "[]");
        const text = texts[Math.round((one.value - one.min) / (one.step || 1))] ?? one.value;
        said.textContent = text;
        one.setAttribute("aria-valuetext", text);
      }
      if (one.type !== "range" || !one.dataset.do) return;
      if (waiting()) moved = one; else act(one); // the newest when the last is drawn
    });
    root.addEventListener("change", (event) => {
      const one = event.target;
      if (one.type === "file" && one.files[0]) file(one);
      else if (one.dataset.do && one.type !== "range") act(one, one.type === "checkbox" ? String(one.checked) : one.value);
    });
    const file = async (input) => {
      const PIECE = 512 * 1024; // Jupyter's web socket refuses messages of some megabytes
      const one = input.files[0];
      const content = await one.arrayBuffer();
      const pieces = Math.max(1, Math.ceil(content.byteLength / PIECE));
      sent += 1;
      const serial = sent;
      told();
      for (let i = 0; i < pieces; i++) {
        model.send({ event: "piece", do: input.dataset.do, index: i, pieces, name: one.name, size: one.size, serial, fields: fieldsOf(root) },
          undefined, [content.slice(i * PIECE, (i + 1) * PIECE)]);
        await new Promise(requestAnimationFrame);
      }
      input.value = "";
    };
    const ticking = setInterval(() => clock(root), 500);
    draw();
    told();
    send({ event: "open", address: own ? location.search : sessionStorage.getItem(`wb:${location.pathname}`) ?? model.get("address") });
    return () => clearInterval(ticking);
  },
};
