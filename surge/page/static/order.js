// What moves when, as bars over time: drag a bar, or choose what it waits for, to shut in another order.

import { by, el, fresh, nice, put } from "./dom.js";
import { drag, drop } from "./drag.js";
import { change, has, line_of, on, store } from "./store.js";

const STEP = 0.5, FAR = 5; // [s] that an arrow key, and a page key, moves a bar
const MOST = 3600; // [s]
let shown = "";

const seconds = (v) => `${Number(v.toFixed(1))} s`;
const group_of = (m) => (["close", "open"].includes(m.verb) ? store.seen.data.valve?.find((v) => v.name === m.name)?.group : null);

/** Movements that begin together by one order, as one row: valves of a group. */
function rows_of(line) {
  const rows = new Map();
  for (const m of line.movements) {
    const group = group_of(m), key = JSON.stringify([m.verb, group ?? m.name, m.begin, m.key, m.after]);
    const row = rows.get(key);
    if (row) row.all.push(m);
    else rows.set(key, { ...m, all: [m], words: `${m.verb} ${group ?? m.name}` });
  }
  for (const row of rows.values()) {
    row.end = Math.max(...row.all.map((m) => m.end));
    row.others = row.others.filter((name) => row.all.every((m) => m.others.includes(name)));
  }
  return [...rows.values()];
}

/** The changes after which a row begins at another time. */
function changes_of(row, begin) {
  const value = row.key === "at" ? begin : begin - row.earliest;
  return row.all.filter((m) => value > 0 || m.key === "at" || has([...m.path, m.key])).map((m) => ({ do: "set", path: [...m.path, m.key], value: seconds(value) }));
}

function bar_of(row, span, ordered) {
  let begin = row.begin, held = null;
  const length = row.end - row.begin;
  const since = (v) => `begins at ${seconds(v)}${ordered === null ? "" : `, ${seconds(v - ordered)} after the order`}, takes ${seconds(length)}`;
  const text = el("span", { class: "bar-words" }, "");
  const bar = el("div", { class: `bar ${row.verb}`, role: "slider", tabindex: 0, "aria-label": row.words, "aria-valuemin": row.earliest, "aria-valuemax": MOST,
    "data-path": JSON.stringify(row.path) }, text);
  const place = (v) => {
    begin = Math.max(row.earliest, Math.min(MOST, v));
    bar.style.left = `${(100 * begin) / span}%`;
    bar.style.width = `${Math.max(1.2, (100 * length) / span)}%`;
    bar.setAttribute("aria-valuenow", String(begin));
    bar.setAttribute("aria-valuetext", since(begin));
    text.textContent = `${seconds(begin)} – ${seconds(begin + length)}`;
    const late = (begin + length) / span > 0.72, early = begin / span < 0.28; // no room for the words behind it, before it
    bar.classList.toggle("late", late && !early);
    bar.classList.toggle("long", late && early);
  };
  const snapped = (v) => row.earliest + Math.round((v - row.earliest) / STEP) * STEP;
  const moved = (v) => {
    const before = begin;
    place(v);
    if (begin !== before) drag(changes_of(row, begin));
  };
  const end = () => { held = null; drop(begin === row.begin ? [] : changes_of(row, begin)); };
  place(begin);
  bar.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    bar.setPointerCapture(event.pointerId);
    held = { x: event.clientX, begin, scale: span / bar.parentElement.clientWidth };
  });
  bar.addEventListener("pointermove", (event) => held && moved(snapped(held.begin + (event.clientX - held.x) * held.scale)));
  for (const event of ["pointerup", "pointercancel", "blur"]) bar.addEventListener(event, end);
  bar.addEventListener("keydown", (event) => {
    const by_keys = { ArrowRight: STEP, ArrowUp: STEP, ArrowLeft: -STEP, ArrowDown: -STEP, PageUp: FAR, PageDown: -FAR }[event.key];
    const to = event.key === "Home" ? row.earliest : by_keys === undefined ? null : begin + by_keys;
    if (to === null) return;
    event.preventDefault();
    moved(to);
  });
  bar.addEventListener("keyup", end);
  return bar;
}

/** What a step of a shutdown waits for. */
function waits_for(row) {
  if (row.key !== "wait") return null;
  const id = fresh("after");
  return el("span", { class: "begins" }, el("label", { for: id, class: "quiet" }, "begins"),
    el("select", { id, onchange: (e) => change([{ do: "chain", path: row.path.slice(0, -1), names: row.all.map((m) => m.name), after: e.target.value }]) },
      el("option", { value: "", selected: !row.after }, "with the signal"), row.others.map((name) => el("option", { value: name, selected: name === row.after }, `after ${name}`))));
}

function draw() {
  if (store.dragging) return;
  const line = line_of(shown), holder = by("order");
  if (!line?.movements.length) { put(holder); return; }
  const focused = document.activeElement?.closest?.("#order .bar")?.getAttribute("data-path");
  const span = 1.12 * Math.max(10, ...line.movements.map((m) => m.end)), ticks = nice(0, span);
  put(holder, el("h3", {}, "What moves when"), el("p", { class: "hint" }, "Drag a bar, or use the arrow keys, to let it begin earlier or later."),
    el("div", { class: "time-line" }, rows_of(line).map((row) => el("div", { class: "movement" }, el("span", { class: "what" }, row.words), waits_for(row),
      el("div", { class: "track-line" }, bar_of(row, span, line.ordered)))),
      el("div", { class: "movement ticks", "aria-hidden": "true" }, el("div", { class: "track-line" }, ticks.map((v) => {
        const tick = el("span", {}, `${v}${v === ticks[ticks.length - 1] ? " s" : ""}`);
        tick.style.left = `${(100 * v) / span}%`;
        return tick;
      })))));
  if (focused) [...holder.querySelectorAll(".bar")].find((bar) => bar.getAttribute("data-path") === focused)?.focus();
}

/** Show the movements of another scenario. */
export function order_of(name) {
  shown = name;
  draw();
}

export function begin_order() {
  on("text", draw);
  on("answer", draw);
}
