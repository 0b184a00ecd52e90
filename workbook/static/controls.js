// The controls of the workbook: native elements with visible names, so that a keyboard and a screen
// reader work as they do everywhere. Python owns the value; this file shows it and sends changes.

// Each control loads this file as a module of its own, so the count is kept on the page.
const serial = () => (globalThis.cpwSerial = (globalThis.cpwSerial ?? 0) + 1);
const make = (tag, attributes = {}, ...children) => {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined || value === "") continue;
    element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children);
  return element;
};

// The first change of a frame goes at once, the newest of the rest at its end; while Python is busy
// the widget manager holds back all but the newest.
const sender = (model) => {
  let waiting = false, more = false;
  return (value) => {
    model.set("value", value);
    if (waiting) { more = true; return; }
    waiting = true;
    model.save_changes();
    requestAnimationFrame(() => {
      waiting = false;
      if (more) { more = false; model.save_changes(); }
    });
  };
};

// Keys belong to the control while it has the focus, not to JupyterLab's shortcuts.
const KEYS = { "data-lm-suppress-shortcuts": "true" };

// What the eye takes from where a control stands, such as in which row, an ear must be told.
const hidden = (words) => (words ? [make("span", { class: "cpw-hidden" }, words)] : []);

const field = (model, el) => {
  const id = `cpw-${serial()}`;
  const help = make("p", { class: "cpw-help", id: `${id}-help` });
  const error = make("p", { class: "cpw-error", id: `${id}-error`, role: "alert" });
  const label = make("label", { for: id });
  const refresh = () => {
    label.replaceChildren(model.get("label"), ...hidden(model.get("spoken")));
    help.textContent = model.get("help");
    help.hidden = !help.textContent;
  };
  model.on("change:label change:spoken change:help", refresh);
  refresh();
  el.classList.add("cpw", "cpw-field");
  return { id, help, error, label, described: { id, "aria-describedby": `${id}-help ${id}-error`, ...KEYS } };
};

const follow = (model, names, update) => { model.on(names.map((n) => `change:${n}`).join(" "), update); update(); };

const KINDS = {
  slider(model, el) {
    const f = field(model, el);
    const input = make("input", { type: "range", ...f.described });
    const shown = make("output", { class: "cpw-value", for: f.id });
    const send = sender(model);
    const words = () => {
      const texts = model.get("texts");
      const at = Math.round((Number(input.value) - model.get("min")) / model.get("step"));
      const unit = input.value === "1" ? model.get("unit").replace(/s$/, "") : model.get("unit");
      const text = texts.length ? texts[at] ?? "" : `${input.value} ${unit}`.trim();
      shown.textContent = text;
      input.setAttribute("aria-valuetext", text);
    };
    follow(model, ["min", "max", "step", "unit", "texts", "disabled"], () => {
      input.min = model.get("min"); input.max = model.get("max"); input.step = model.get("step");
      input.disabled = model.get("disabled"); input.value = model.get("value"); words();
    });
    follow(model, ["value"], () => { if (Number(input.value) !== model.get("value")) { input.value = model.get("value"); words(); } });
    input.addEventListener("input", () => { words(); send(Number(input.value)); });
    el.append(make("div", { class: "cpw-head" }, f.label, shown), input, f.help);
  },
  choice(model, el) {
    const f = field(model, el);
    const select = make("select", f.described);
    const send = sender(model);
    follow(model, ["options", "texts", "value", "disabled"], () => {
      const texts = model.get("texts");
      select.replaceChildren(...model.get("options").map((o, i) => {
        const option = make("option", {}, texts[i] ?? o);
        option.value = o; // also an empty one, which would else be taken from the text
        return option;
      }));
      select.value = model.get("value"); select.disabled = model.get("disabled");
    });
    select.addEventListener("change", () => send(select.value));
    el.append(f.label, select, f.help);
  },
  number(model, el) {
    const f = field(model, el);
    // Text, not type=number: a wheel over the field must not change a reading, and a decimal comma
    // must be refused in words rather than dropped.
    const input = make("input", { type: "text", inputmode: "decimal", autocomplete: "off", ...f.described });
    const unit = make("span", { class: "cpw-muted" });
    const send = sender(model);
    const complain = (text) => { f.error.textContent = text; input.setAttribute("aria-invalid", text ? "true" : "false"); };
    follow(model, ["unit", "disabled"], () => { unit.textContent = model.get("unit"); input.disabled = model.get("disabled"); });
    follow(model, ["value"], () => {
      const value = model.get("value");
      if (value === null) { if (input.value.trim() && !f.error.textContent) input.value = ""; return; }
      if (input.value.trim() === "" || Number(input.value.replace("−", "-")) !== value) { input.value = String(value); complain(""); }
    });
    input.addEventListener("input", () => {
      const text = input.value.trim().replace("−", "-");
      const low = model.get("min"), high = model.get("max");
      if (text === "") { complain(""); send(null); return; }
      if (text.includes(",")) complain("Write the decimal point as a full stop, such as 45.2.");
      else if (!/^[+-]?(\d+\.?\d*|\.\d+)$/.test(text)) complain("This is not a number.");
      else if ((low !== null && Number(text) < low) || (high !== null && Number(text) > high))
        complain(`Must be ${low ?? "anything"} to ${high ?? "anything"}.`);
      else { complain(""); send(Number(text)); return; }
      send(null);
    });
    el.append(f.label, make("div", { class: "cpw-with-unit" }, input, unit), f.error, f.help);
  },
  text(model, el) {
    const f = field(model, el);
    const input = make(model.get("lines") > 1 ? "textarea" : "input",
      { type: model.get("lines") > 1 ? false : "text", rows: model.get("lines") > 1 ? model.get("lines") : false, autocomplete: "off", ...f.described });
    const send = sender(model);
    follow(model, ["value", "disabled"], () => { if (input.value !== model.get("value")) input.value = model.get("value"); input.disabled = model.get("disabled"); });
    input.addEventListener("input", () => send(input.value));
    el.append(f.label, input, f.help);
  },
  checks(model, el) {
    el.classList.add("cpw", "cpw-field");
    const legend = make("legend"), boxes = make("div", { class: "cpw-checks" }), help = make("p", { class: "cpw-help" });
    const send = sender(model);
    const draw = () => {
      const texts = model.get("texts"), chosen = new Set(model.get("value"));
      const at = [...boxes.querySelectorAll("input")].indexOf(document.activeElement);
      legend.textContent = model.get("label"); help.textContent = model.get("help"); help.hidden = !help.textContent;
      boxes.replaceChildren(...model.get("options").map((option, i) => {
        const box = make("input", { type: "checkbox", value: option, ...KEYS });
        box.checked = chosen.has(option); box.disabled = model.get("disabled");
        return make("label", {}, box, texts[i] ?? option);
      }));
      if (at >= 0) boxes.querySelectorAll("input")[at]?.focus();
    };
    boxes.addEventListener("change", () => send([...boxes.querySelectorAll("input:checked")].map((b) => b.value)));
    follow(model, ["label", "help", "options", "texts", "disabled"], draw);
    model.on("change:value", () => { const on = new Set(model.get("value")); for (const b of boxes.querySelectorAll("input")) b.checked = on.has(b.value); });
    el.append(make("fieldset", {}, legend, boxes, help));
  },
  buttons(model, el) {
    el.classList.add("cpw", "cpw-row");
    follow(model, ["label"], () => { el.setAttribute("role", "group"); el.setAttribute("aria-label", model.get("label") || "Actions"); });
    const draw = () => {
      const held = el.contains(document.activeElement) ? document.activeElement.dataset.press : null;
      el.replaceChildren(...model.get("buttons").map((b) => {
        const button = make("button", { type: "button", class: b.primary ? "cpw-primary" : false, "data-press": b.name, title: b.help, ...KEYS }, b.label, ...hidden(b.spoken));
        button.disabled = Boolean(b.disabled);
        button.addEventListener("click", () => model.send({ event: "press", name: b.name }));
        return button;
      }));
      if (held !== null) el.querySelector(`[data-press="${CSS.escape(held)}"]`)?.focus();
    };
    follow(model, ["buttons"], draw);
  },
  file(model, el) {
    const f = field(model, el);
    const input = make("input", { type: "file", accept: model.get("accept"), ...f.described });
    const status = make("p", { class: "cpw-help", role: "status" });
    const PIECE = 512 * 1024; // Jupyter's web socket refuses messages of some megabytes
    input.addEventListener("change", async () => {
      const file = input.files[0];
      if (!file) return;
      if (file.size > model.get("most_bytes")) {
        f.error.textContent = `${file.name} is ${(file.size / 1e6).toFixed(1)} MB; at most ${(model.get("most_bytes") / 1e6).toFixed(0)} MB are taken.`;
        return;
      }
      f.error.textContent = "";
      const content = await file.arrayBuffer();
      const pieces = Math.max(1, Math.ceil(content.byteLength / PIECE));
      for (let i = 0; i < pieces; i++) {
        status.textContent = `Sending ${file.name}: ${Math.round((100 * (i + 1)) / pieces)}%`;
        model.send({ event: "piece", index: i, pieces, name: file.name, size: file.size }, undefined, [content.slice(i * PIECE, (i + 1) * PIECE)]);
        await new Promise(requestAnimationFrame);
      }
      status.textContent = `${file.name}, ${file.size} bytes, sent.`;
    });
    el.append(f.label, input, f.error, f.help, status);
  },
  progress(model, el) {
    const f = field(model, el);
    const bar = make("progress", { id: f.id, max: 1 });
    const said = make("p", { class: "cpw-help", role: "status" });
    const cancel = make("button", { type: "button", ...KEYS }, "Cancel");
    cancel.addEventListener("click", () => { cancel.disabled = true; model.send({ event: "cancel" }); });
    follow(model, ["value", "text", "running", "cancellable"], () => {
      const value = model.get("value");
      if (value === null) bar.removeAttribute("value"); else bar.value = value;
      said.textContent = model.get("text");
      el.hidden = !model.get("running") && !model.get("text");
      bar.hidden = f.label.hidden = !model.get("running");
      cancel.hidden = !(model.get("running") && model.get("cancellable"));
      if (!model.get("running")) cancel.disabled = false;
    });
    el.append(f.label, bar, said, cancel);
  },
  seat(model, el) { el.hidden = true; }, // nothing to see; see `sit`
  html(model, el) {
    el.classList.add("cpw");
    const inner = make("div", {});
    follow(model, ["live", "label"], () => {
      const live = model.get("live"), label = model.get("label");
      if (live === "off") inner.removeAttribute("aria-live"); else inner.setAttribute("aria-live", live);
      if (label) { inner.setAttribute("role", "group"); inner.setAttribute("aria-label", label); }
    });
    follow(model, ["html"], () => {
      const active = document.activeElement;
      const held = inner.contains(active) ? active.closest("[data-press]")?.dataset.press : undefined;
      const scrolls = [...inner.querySelectorAll(".cpw-scroll")].map((s) => s.scrollLeft);
      inner.replaceChildren(...clean(model.get("html")));
      inner.querySelectorAll(".cpw-scroll").forEach((s, i) => {
        s.scrollLeft = scrolls[i] ?? 0;
        s.tabIndex = 0; // what scrolls must be reachable by keyboard
        s.setAttribute("role", "region");
        s.setAttribute("aria-label", s.querySelector("caption, title, figcaption")?.textContent ?? "Table");
      });
      inner.querySelectorAll("button").forEach((b) => { b.type = "button"; b.setAttribute("data-lm-suppress-shortcuts", "true"); });
      if (held !== undefined) inner.querySelector(`[data-press="${CSS.escape(held)}"]`)?.focus();
    });
    inner.addEventListener("click", (event) => {
      const pressed = event.target.closest("[data-press]");
      if (pressed && inner.contains(pressed)) model.send({ event: "press", name: pressed.dataset.press });
    });
    el.append(inner);
  },
};

// Python escapes every name before it gets here. This is the second lock: whatever could run or
// fetch is dropped even if an escape were forgotten.
const DROP = new Set(["script", "iframe", "object", "embed", "link", "meta", "base", "form", "foreignobject", "style", "use", "animate", "set", "video", "audio", "source"]);
const clean = (html) => {
  const body = new DOMParser().parseFromString(html, "text/html").body;
  for (const node of [...body.querySelectorAll("*")]) {
    if (DROP.has(node.localName.toLowerCase())) { node.remove(); continue; }
    for (const { name, value } of [...node.attributes]) {
      const low = name.toLowerCase();
      const link = ["href", "xlink:href", "src", "srcset", "action", "formaction", "data", "poster", "background"].includes(low);
      const good = !link || /^data:image\/png;base64,/.test(value) || /^data:application\/(pdf|zip);base64,/.test(value) || value.startsWith("#");
      const fetches = low === "style" && /url\(|expression|@import/i.test(value);
      const paints = /url\(/i.test(value) && !/^url\(#[\w-]+\)$/.test(value);
      if (low.startsWith("on") || !good || fetches || paints) node.removeAttribute(name);
    }
    if (node.localName === "img" && !node.hasAttribute("src")) node.remove();
  }
  return [...body.childNodes];
};

// Which bench this browser is. A cookie first, for it holds on every port of the machine and each
// start may take another; then the page's own storage, where cookies are refused.
const sit = (model) => {
  const NAME = "cpw-bench";
  const good = (mark) => (/^[0-9a-f]{8,40}$/.test(mark ?? "") ? mark : null);
  const attempt = (call) => { try { return call(); } catch { return null; } };
  const read = () =>
    good(attempt(() => document.cookie.split("; ").find((c) => c.startsWith(`${NAME}=`))?.slice(NAME.length + 1))) ??
    good(attempt(() => localStorage.getItem(NAME)));
  const write = (mark) => {
    attempt(() => { document.cookie = `${NAME}=${mark}; path=/; max-age=34560000; SameSite=Strict`; });
    attempt(() => localStorage.setItem(NAME, mark));
    model.set("kept", read() === mark);
  };
  const fresh = () => [...crypto.getRandomValues(new Uint8Array(8))].map((b) => b.toString(16).padStart(2, "0")).join("");
  if (!model.get("value")) {
    const mark = read() ?? fresh();
    write(mark);
    model.set("value", mark);
    model.save_changes();
  }
  model.on("change:value", () => { if (good(model.get("value"))) { write(model.get("value")); model.save_changes(); } });
};

export default {
  // With the model and not with its view: JupyterLab draws no cell that is out of sight.
  initialize({ model }) { if (model.get("kind") === "seat") sit(model); },
  render({ model, el }) { KINDS[model.get("kind")](model, el); },
};
