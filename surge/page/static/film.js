// The film of the pressure along the line: every frame from the full run, drawn as SVG.

import { by, el, floats, nice, put, still, svg } from "./dom.js";
import { ask } from "./server.js";
import { on, store } from "./store.js";

const LEAST = 560, TOP = 26, HIGH = 300, FOOT = 112, SPEEDS = [0.25, 0.5, 1, 2, 4];
let WIDE = LEAST; // of the line, as wide as there is room: letters keep their size
let film = null, frame = 0, playing = false, speed = 1, last = 0, parts = {};

const at = (array, k) => array.subarray(k * film.columns, (k + 1) * film.columns);

function scale() {
  const values = [film.top, film.bottom, ...film.upper.map((l) => l.value).filter((v) => v < 1.6 * film.top), film.vapour ?? film.bottom];
  const low = Math.min(...values), high = Math.max(...values), room = 0.06 * (high - low || 1);
  const y = (v) => TOP + HIGH * (1 - (v - low + room) / (high - low + 2 * room));
  return { y, low: low - room, high: high + room };
}

const line = (values, y) => {
  let d = "";
  for (let i = 0; i < film.columns; i += 1) d += `${i ? "L" : "M"}${(film.x[i] * WIDE).toFixed(1)} ${y(values[i]).toFixed(1)}`;
  return d;
};

/** Where a row of values is beyond its limit: between the limit and the curve. */
function beyond(values, limits, y, above) {
  let d = "";
  for (const { left, right, value } of limits) {
    let run = [];
    const close = () => {
      if (run.length > 1) d += `M${run.map(([x, v]) => `${x.toFixed(1)} ${y(v).toFixed(1)}`).join("L")}L${run[run.length - 1][0].toFixed(1)} ${y(value).toFixed(1)}H${run[0][0].toFixed(1)}z`;
      run = [];
    };
    for (let i = 0; i < film.columns; i += 1) {
      const x = film.x[i];
      if (x >= left - 1e-6 && x <= right + 1e-6 && (above ? values[i] > value : values[i] < value)) run.push([x * WIDE, values[i]]);
      else close();
    }
    close();
  }
  return d;
}

function gates(y0) {
  const below = []; // where words stand below; of gates side by side the next has its words above
  return Object.entries(film.moves).filter(([name, m]) => m.on_way && film.parts.some((p) => p.name === name)).map(([name]) => {
    const part = film.parts.find((p) => p.name === name), x = ((part.left + part.right) / 2) * WIDE;
    const gate = svg("rect", { x: x - 6, y: y0 - 15, width: 12, height: 0, class: "gate" });
    const beside = below.some((other) => Math.abs(other - x) < 40);
    if (!beside) below.push(x);
    const words = svg("text", { x, y: beside ? y0 - 21 : y0 + 31, "text-anchor": "middle", class: "gate-words" }, "");
    parts.gates.push({ name, gate, words, y0 });
    return svg("g", {}, svg("rect", { x: x - 7, y: y0 - 16, width: 14, height: 32, class: "gate-frame" }), gate, words);
  });
}

/** A name in one line of some letters, or in two. */
function two_lines(name, letters) {
  const cut = (text) => (text.length > letters ? `${text.slice(0, Math.max(2, letters - 1))}…` : text);
  if (name.length <= letters) return [name];
  const gaps = [...name.matchAll(/ /g)].map((m) => m.index).filter((k) => k <= letters), gap = gaps[gaps.length - 1];
  return gap === undefined ? [cut(name)] : [name.slice(0, gap), cut(name.slice(gap + 1))];
}

function build() {
  WIDE = Math.max(LEAST, by("film").clientWidth - 72);
  const { y, low, high } = scale(), base = TOP + HIGH;
  parts = { y, gates: [] };
  const ticks = nice(low, high);
  const names = film.parts.map((p) => {
    const wide = (p.right - p.left) * WIDE, x = ((p.left + p.right) / 2) * WIDE;
    return svg("g", {}, svg("path", { d: `M${p.left * WIDE} ${TOP}V${base + 22}`, class: "edge" }),
      wide > 34 ? svg("text", { y: base + 70, "text-anchor": "middle", class: "part-name" },
        two_lines(p.name, Math.floor(wide / 6.6)).map((words, i) => svg("tspan", { x, dy: 14 * i }, words))) : null,
      svg("title", {}, `${p.name}${p.length ? `, ${p.length.toFixed(0)} m` : ""}`));
  });
  const steps = (limits, above) => limits.map((l) => {
    const words = l.value.toFixed(1), room = (l.right - l.left) * WIDE > 60;
    if (y(l.value) < TOP - 2 || y(l.value) > base + 2) return null;
    return svg("g", {}, svg("path", { d: `M${l.left * WIDE} ${y(l.value)}H${Math.max(l.right * WIDE, l.left * WIDE + 5)}`, class: "limit" }),
      svg("path", { d: `M${l.left * WIDE} ${y(l.value)}v${above ? -7 : 7}`, class: "limit thin" }),
      room ? svg("text", { x: l.left * WIDE + 8, y: y(l.value) + (above ? -5 : 14), class: "limit-words" }, words) : null);
  });
  const hatch = svg("pattern", { id: "beyond", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, svg("path", { d: "M0 0V7", class: "hatch" }));
  parts.now = svg("path", { class: "now" });
  parts.high = svg("path", { class: "so-far" });
  parts.low = svg("path", { class: "so-far" });
  parts.over = svg("path", { class: "beyond", fill: "url(#beyond)" });
  parts.under = svg("path", { class: "beyond", fill: "url(#beyond)" });
  parts.hair = svg("path", { class: "hair" });
  parts.dot = svg("circle", { r: 5, class: "dot" });
  const boil = film.vapour !== null && film.vapour >= low ? svg("g", {}, svg("path", { d: `M0 ${y(film.vapour)}H${WIDE}`, class: "boil" }),
    svg("text", { x: WIDE - 8, y: y(film.vapour) + 15, "text-anchor": "end", class: "boil-words" }, "boils below this line")) : null;
  return svg("svg", { viewBox: `-58 0 ${WIDE + 72} ${TOP + HIGH + FOOT}`, class: "film", role: "img", id: "film-picture",
    "aria-label": `Film of the pressure along the line in the scenario ${film.scenario}; limits are dashed, what is beyond them is hatched` },
    svg("defs", {}, hatch),
    ticks.map((v) => svg("g", {}, svg("path", { d: `M0 ${y(v)}H${WIDE}`, class: "grid" }), svg("text", { x: -10, y: y(v) + 4, "text-anchor": "end", class: "tick" }, String(v)))),
    svg("text", { x: -50, y: TOP - 10, class: "tick" }, film.unit), names, boil,
    svg("path", { d: line(film.steady, y), class: "steady" }), parts.high, parts.low, parts.over, parts.under, parts.now,
    steps(film.upper, true), steps(film.lower.filter((l) => film.vapour === null || Math.abs(l.value - film.vapour) > 0.02), false),
    svg("path", { d: `M0 ${base + 22}H${WIDE}`, class: "axis" }), gates(base + 22), parts.hair, parts.dot,
    svg("text", { x: 0, y: base + 104, class: "tick" }, film.ends[0]), svg("text", { x: WIDE, y: base + 104, "text-anchor": "end", class: "tick" }, film.ends[1]));
}

function show(k) {
  frame = Math.max(0, Math.min(film.frames - 1, k));
  const now = Math.round(frame), { y } = parts;
  const pressure = at(film.pressure, now), highest = at(film.highest, now), lowest = at(film.lowest, now);
  parts.now.setAttribute("d", line(pressure, y));
  parts.high.setAttribute("d", line(highest, y));
  parts.low.setAttribute("d", line(lowest, y));
  parts.over.setAttribute("d", beyond(highest, film.upper, y, true));
  parts.under.setAttribute("d", beyond(lowest, film.lower, y, false));
  for (const g of parts.gates) {
    const open = film.moves[g.name].at[now];
    g.gate.setAttribute("height", String(30 * (1 - open)));
    g.words.textContent = `${Math.round(100 * open)}\u00a0%`;
  }
  const time = film.time[now], boiling = film.boils !== null && now >= film.frames - 1;
  const moves = Object.entries(film.moves).map(([name, m]) => `${name} ${Math.round(100 * m.at[now])}\u00a0%`).join(", ");
  parts.scrub.value = String(now);
  parts.scrub.setAttribute("aria-valuetext", `${time.toFixed(2)} s`);
  parts.words.textContent = `${time.toFixed(2)} s; highest now ${Math.max(...pressure).toFixed(2)} ${film.unit}, lowest ${Math.min(...pressure).toFixed(2)}; open: ${moves}${boiling ? "; the cargo boils here, and the film ends" : ""}`;
}

function run(clock) {
  if (!playing) return;
  const passed = last ? (clock - last) / 1000 : 0;
  last = clock;
  show(frame + (passed * speed * film.frames) / film.playing);
  if (frame >= film.frames - 1) play(false);
  else requestAnimationFrame(run);
}

function play(yes) {
  playing = yes;
  last = 0;
  parts.button.textContent = yes ? "Pause" : "Play";
  if (!yes) return;
  if (frame >= film.frames - 1) frame = 0;
  requestAnimationFrame(run);
}

/** Place, time and pressure under the pointer. */
function hover(event) {
  const picture = by("film-picture"), point = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
  const x = Math.max(0, Math.min(1, point.x / WIDE));
  let near = 0;
  for (let i = 1; i < film.columns; i += 1) if (Math.abs(film.x[i] - x) < Math.abs(film.x[near] - x)) near = i;
  const now = Math.round(frame), value = at(film.pressure, now)[near], part = film.parts[film.part[near]] ?? film.parts.find((p) => x >= p.left && x <= p.right);
  const share = part && part.right > part.left ? (film.x[near] - part.left) / (part.right - part.left) : 0;
  const px = film.x[near] * WIDE;
  parts.hair.setAttribute("d", `M${px} ${TOP}V${TOP + HIGH}`);
  parts.dot.setAttribute("cx", String(px));
  parts.dot.setAttribute("cy", String(parts.y(value)));
  parts.dot.classList.add("on");
  parts.tip.textContent = `${part ? part.name : ""}${part?.length ? `, ${(share * part.length).toFixed(1)} m` : ""}: ${value.toFixed(2)} ${film.unit} at ${film.time[now].toFixed(2)} s; so far up to ${at(film.highest, now)[near].toFixed(2)}, down to ${at(film.lowest, now)[near].toFixed(2)}`;
}

function controls() {
  parts.button = el("button", { type: "button", class: "primary", id: "play", onclick: () => play(!playing) }, "Play");
  parts.scrub = el("input", { type: "range", min: 0, max: film.frames - 1, step: 1, value: 0, "aria-label": "Time of the film",
    oninput: () => { play(false); show(Number(parts.scrub.value)); } });
  parts.words = el("output", { id: "film-words" });
  parts.tip = el("p", { class: "quiet", id: "film-tip", "aria-live": "off" }, "Point at the line to read place, time and pressure.");
  const step = (k, words, sign) => el("button", { type: "button", "aria-label": words, onclick: () => { play(false); show(Math.round(frame) + k); } }, sign);
  return el("div", { class: "player" }, parts.button, step(-1, "One frame back", "‹"), step(1, "One frame on", "›"), parts.scrub,
    el("label", {}, "Speed ", el("select", { onchange: (e) => { speed = Number(e.target.value); } }, SPEEDS.map((s) => el("option", { value: s, selected: s === speed }, `${s} ×`)))));
}

async function load() {
  const { text, name } = store, holder = by("film");
  put(holder, el("p", { class: "quiet" }, "Making the film …"));
  const found = await ask("film", { do: "film", name, text, scenario: by("scenario").value || null }, (word) => put(holder, el("p", { class: "quiet" }, `Making the film: ${word}`))).catch((error) => ({ refused: { text: error.message } }));
  if (!found || text !== store.text) { offer(); return; }
  if (found.refused) { put(holder, el("p", { class: "fault" }, found.refused.text), button()); return; }
  film = found;
  for (const key of ["time", "x", "pressure", "highest", "lowest", "steady"]) film[key] = floats(found[key]);
  film.top = film.highest.reduce((a, b) => Math.max(a, b), -Infinity);
  film.bottom = film.lowest.reduce((a, b) => Math.min(a, b), Infinity);
  const picture = build(), player = controls();
  put(holder, player, el("p", { class: "now-words" }, parts.words), el("div", { class: "film-box", tabindex: 0, role: "region", "aria-label": "The film" }, picture), parts.tip,
    el("p", { class: "quiet" }, `Scenario ${film.scenario}, ${film.pace}. Heavy: the pressure now. Thin: the highest and lowest so far. Dashed: limits; hatched: beyond them. The gates show how far a valve is shut.`,
      film.left_out.length ? ` Not on this way: ${film.left_out.slice(0, 8).join(", ")}${film.left_out.length > 8 ? " and more" : ""}.` : ""));
  picture.addEventListener("pointermove", hover);
  show(0);
  holder.classList.remove("old");
  if (!still()) play(true);
}

const button = () => el("button", { type: "button", class: "primary", id: "make-film", onclick: load }, "Show the film of this scenario");

function offer() {
  playing = false;
  film = null;
  put(by("film"), el("p", { class: "quiet" }, "The pressure as it travels along the line."), button());
}

export function begin_film() {
  offer();
  on("scenario", offer);
  on("text", () => { if (film) { playing = false; } else offer(); });
  on("answer", () => { if (film) offer(); });
}
