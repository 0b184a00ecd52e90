// A photograph on which corners are tapped: the chart's four, and four of each panel. Taps, drags and
// keys do the same. Python owns the marks, as shares of the picture's width and height.

const SVG = "http://www.w3.org/2000/svg";
const KEYS = { "data-lm-suppress-shortcuts": "true" };
const serial = () => (globalThis.wbSerial = (globalThis.wbSerial ?? 0) + 1);
const make = (tag, attributes = {}, ...children) => {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
};
const draw = (tag, attributes) => {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
};
const NEAR = 24; // pixels of the screen within which a tap takes hold of a corner

function render({ model, el }) {
  const id = `wb-marks-${serial()}`;
  let kind = "panel", held = null, cross = null;
  el.classList.add("wb-marks");
  const legend = make("legend", {}, "What you tap");
  const choices = make("fieldset", {}, legend);
  for (const [value, text] of [["chart", "Corners of the chart"], ["panel", "Corners of the panel"]]) {
    const box = make("input", { type: "radio", name: `${id}-kind`, value, ...KEYS });
    box.checked = value === kind;
    box.addEventListener("change", () => { kind = value; refresh(); });
    choices.append(make("label", {}, box, text));
  }
  const code = make("input", { type: "text", maxlength: "40", ...KEYS });
  choices.append(make("label", {}, "Its code, where there are several", code));
  const stage = make("div", { class: "wb-marks-stage", tabindex: "0", role: "application", "aria-label": "The photograph", "aria-describedby": `${id}-help ${id}-said`, ...KEYS });
  const picture = make("img", { alt: "" });
  const over = draw("svg", { preserveAspectRatio: "none", viewBox: "0 0 1000 1000", "aria-hidden": "true" });
  stage.append(picture, over);
  const said = make("p", { id: `${id}-said`, role: "status" });
  const help = make("p", { id: `${id}-help` },
    "Tap the middle of a panel that was found, or its four corners in turn; drag a corner to move it. Keys: arrows, Enter, Backspace.");
  const row = make("div", { class: "wb-marks-row" });
  const button = (text, press) => {
    const made = make("button", { type: "button", ...KEYS }, text);
    made.addEventListener("click", press);
    row.append(made);
  };

  const marks = () => structuredClone(model.get("marks"));
  const keep = (list) => { model.set("marks", list); model.save_changes(); refresh(); };
  const open = (list) => list.find((m) => m.points.length < 4);
  const inside = ([x, y], points) => points.reduce((odd, [ax, ay], i) => {
    const [bx, by] = points[(i + 1) % points.length];
    return (ay > y) !== (by > y) && x < ((bx - ax) * (y - ay)) / (by - ay) + ax ? !odd : odd;
  }, false);
  const tap = (x, y) => {
    let list = marks();
    let one = open(list);
    const mine = kind === "panel" ? code.value.trim() : "";
    if (one && (one.kind !== kind || (one.code ?? "") !== mine)) { list = list.filter((m) => m !== one); one = null; }
    if (!one) {
      // A tap in the middle of what was found says that this is the panel.
      const chosen = kind === "panel" && list.find((m) => m.found && m.kind === kind && inside([x, y], m.points));
      list = list.filter((m) => m === chosen || m.kind !== kind || (mine && (m.code ?? "") !== mine));
      if (chosen) { delete chosen.found; chosen.code = mine; keep(list); return; }
      one = { kind, points: [], code: mine };
      list.push(one);
    }
    one.points.push([x, y]);
    keep(list);
  };
  const back = () => {
    const list = marks(), last = list[list.length - 1];
    if (!last) return;
    last.points.pop();
    keep(last.points.length ? list : list.slice(0, -1));
  };
  button("Take back the last corner", back);
  button("Mark anew", () => keep([]));

  const at = (event) => {
    const box = stage.getBoundingClientRect();
    const clamp = (v) => Math.min(1, Math.max(0, v));
    return [clamp((event.clientX - box.left) / box.width), clamp((event.clientY - box.top) / box.height)];
  };
  stage.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    stage.focus({ preventScroll: true });
    const box = stage.getBoundingClientRect(), [x, y] = at(event);
    let best = NEAR;
    marks().forEach((mark, i) => mark.points.forEach(([px, py], j) => {
      const far = Math.hypot((px - x) * box.width, (py - y) * box.height);
      if (far < best) { best = far; held = [i, j]; }
    }));
    if (held) stage.setPointerCapture(event.pointerId); else tap(x, y);
  });
  stage.addEventListener("pointermove", (event) => {
    if (!held) return;
    const list = marks();
    list[held[0]].points[held[1]] = at(event);
    const one = list[held[0]];
    if (one.found && one.kind === "panel") one.code = code.value.trim();
    delete one.found;
    model.set("marks", list);
    refresh();
  });
  stage.addEventListener("pointerup", () => { if (held) { held = null; model.save_changes(); } });
  stage.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? 0.002 : 0.02;
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (move) {
      cross = cross ?? [0.5, 0.5];
      cross = cross.map((v, i) => Math.min(1, Math.max(0, v + move[i])));
    } else if (event.key === "Enter") { cross = cross ?? [0.5, 0.5]; tap(...cross); }
    else if (event.key === "Backspace") back();
    else return;
    event.preventDefault();
    event.stopPropagation();
    refresh();
  });

  const line = (points, closed, dashed) => {
    const text = points.map(([x, y]) => `${x * 1000},${y * 1000}`).join(" ");
    for (const [stroke, width] of [["#000", 5], ["#fff", 2]]) {
      over.append(draw(closed ? "polygon" : "polyline", {
        points: text, fill: "none", stroke, "stroke-width": width, "vector-effect": "non-scaling-stroke",
        ...(dashed ? { "stroke-dasharray": "8 5" } : {}),
      }));
    }
  };
  function refresh() {
    const list = model.get("marks");
    over.replaceChildren();
    for (const mark of list) {
      line(mark.points, mark.points.length === 4, mark.kind === "chart");
      for (const [x, y] of mark.points) line([[x, y], [x, y]], false, false);
    }
    if (cross) {
      line([[cross[0] - 0.02, cross[1]], [cross[0] + 0.02, cross[1]]], false, false);
      line([[cross[0], cross[1] - 0.03], [cross[0], cross[1] + 0.03]], false, false);
    }
    // Round spots on corners, in pixels of the screen.
    stage.querySelectorAll(".wb-marks-corner").forEach((spot) => spot.remove());
    for (const mark of list) for (const [x, y] of mark.points) {
      const spot = make("span", { class: "wb-marks-corner", "aria-hidden": "true" });
      spot.style.left = `${x * 100}%`; spot.style.top = `${y * 100}%`;
      stage.append(spot);
    }
    const one = open(list);
    const whole = list.filter((m) => m.points.length === 4);
    const charts = whole.filter((m) => m.kind === "chart").length, panels = whole.filter((m) => m.kind === "panel");
    said.textContent = one
      ? `Corner ${one.points.length + 1} of 4 of the ${one.kind} is next.`
      : `Marked: ${charts ? "the chart" : "no chart"}, ${panels.length ? panels.map((m) => m.code || "the panel").join(", ") : "no panel"}. Dashed: the chart. Solid: what is read.`;
  }
  const show = () => {
    const data = model.get("picture");
    el.hidden = !data;
    if (data.startsWith("data:image/jpeg;base64,")) picture.src = data;
    refresh();
  };
  model.on("change:picture", show);
  model.on("change:marks", () => { if (!held) refresh(); });
  el.append(choices, help, stage, said, row);
  show();
}

export default { render };
