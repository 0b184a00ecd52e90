// The controls by which a photograph comes in: native elements with visible names, so that a keyboard
// and a screen reader work as they do everywhere. Python owns what they hold; this file shows it.

// Each control loads this file as a module of its own, so the count is kept on the page.
const serial = () => (globalThis.cpwSerial = (globalThis.cpwSerial ?? 0) + 1);
const make = (tag, attributes = {}, ...children) => {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) if (value) element.setAttribute(name, value);
  element.append(...children);
  return element;
};

// Keys belong to the control while it has the focus, not to JupyterLab's shortcuts.
const KEYS = { "data-lm-suppress-shortcuts": "true" };

const follow = (model, names, update) => { model.on(names.map((n) => `change:${n}`).join(" "), update); update(); };

const KINDS = {
  checks(model, el) {
    el.classList.add("cpw-field");
    const boxes = make("div", { class: "cpw-checks" });
    follow(model, ["options", "texts"], () => {
      boxes.replaceChildren(...model.get("options").map((option, i) => {
        const box = make("input", { type: "checkbox", value: option, ...KEYS });
        box.checked = model.get("value").includes(option);
        return make("label", {}, box, model.get("texts")[i] ?? option);
      }));
    });
    boxes.addEventListener("change", () => {
      model.set("value", [...boxes.querySelectorAll("input:checked")].map((b) => b.value));
      model.save_changes();
    });
    model.on("change:value", () => { for (const b of boxes.querySelectorAll("input")) b.checked = model.get("value").includes(b.value); });
    el.append(make("fieldset", {}, make("legend", {}, model.get("label")), boxes));
  },
  buttons(model, el) {
    el.classList.add("cpw-row");
    el.setAttribute("role", "group");
    el.setAttribute("aria-label", model.get("label"));
    follow(model, ["buttons"], () => {
      const held = el.contains(document.activeElement) ? document.activeElement.dataset.press : null;
      el.replaceChildren(...model.get("buttons").map((b) => {
        const button = make("button", { type: "button", class: b.primary ? "cpw-primary" : "", "data-press": b.name, ...KEYS }, b.label);
        button.disabled = Boolean(b.disabled);
        button.addEventListener("click", () => model.send({ event: "press", name: b.name }));
        return button;
      }));
      if (held !== null) el.querySelector(`[data-press="${CSS.escape(held)}"]`)?.focus();
    });
  },
  file(model, el) {
    el.classList.add("cpw-field");
    const id = `cpw-${serial()}`;
    const input = make("input", { type: "file", accept: model.get("accept"), id, "aria-describedby": `${id}-help ${id}-wrong`, ...KEYS });
    const help = make("p", { class: "cpw-help", id: `${id}-help` }, model.get("help"));
    const wrong = make("p", { class: "cpw-wrong", id: `${id}-wrong`, role: "alert" });
    const status = make("p", { class: "cpw-help", role: "status" });
    const PIECE = 512 * 1024; // Jupyter's web socket refuses messages of some megabytes
    input.addEventListener("change", async () => {
      const file = input.files[0];
      if (!file) return;
      if (file.size > model.get("most_bytes")) {
        wrong.textContent = `${file.name} is ${(file.size / 1e6).toFixed(1)} MB; at most ${(model.get("most_bytes") / 1e6).toFixed(0)} MB are taken.`;
        return;
      }
      wrong.textContent = "";
      const content = await file.arrayBuffer();
      const pieces = Math.max(1, Math.ceil(content.byteLength / PIECE));
      for (let i = 0; i < pieces; i++) {
        status.textContent = `Sending ${file.name}: ${Math.round((100 * (i + 1)) / pieces)}%`;
        model.send({ event: "piece", index: i, pieces, name: file.name, size: file.size }, undefined, [content.slice(i * PIECE, (i + 1) * PIECE)]);
        await new Promise(requestAnimationFrame);
      }
      status.textContent = `${file.name}, ${file.size} bytes, sent.`;
    });
    el.append(make("label", { for: id }, model.get("label")), input, wrong, help, status);
  },
  progress(model, el) {
    el.classList.add("cpw-field");
    const id = `cpw-${serial()}`;
    const label = make("label", { for: id }, model.get("label"));
    const bar = make("progress", { id }); // without a value: nobody can tell how far it is
    const said = make("p", { class: "cpw-help", role: "status" });
    const cancel = make("button", { type: "button", ...KEYS }, "Cancel");
    cancel.addEventListener("click", () => { cancel.disabled = true; model.send({ event: "cancel" }); });
    follow(model, ["text", "running"], () => {
      const running = model.get("running");
      said.textContent = model.get("text");
      el.hidden = !running && !model.get("text");
      bar.hidden = label.hidden = cancel.hidden = !running;
      if (!running) cancel.disabled = false;
    });
    el.append(label, bar, said, cancel);
  },
  words(model, el) {
    el.setAttribute("role", "group");
    el.setAttribute("aria-label", model.get("label"));
    el.setAttribute("aria-live", model.get("live"));
    follow(model, ["text", "wrong"], () => {
      const lines = model.get("text").split("\n").filter((line) => line.trim());
      el.replaceChildren(...lines.map((line) => make("p", { class: model.get("wrong") ? "cpw-wrong" : "" }, line)));
    });
  },
};

export default {
  render({ model, el }) { el.classList.add("cpw"); KINDS[model.get("kind")](model, el); },
};
