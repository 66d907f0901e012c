// Sliders for the rate and for strokes: a quick look while one is dragged, the full run once it is let go.

import { by, el, fresh, put, words } from "./dom.js";
import { ask } from "./server.js";
import { at, change, line_of, moves_of, on, store, tell } from "./store.js";

const QUANTITY = /^\s*([+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)\s*(\S.*?)\s*$/;
const STEPS = 1000, WIDE = 5; // a slider goes from a fifth of the figure to five times it
let known = []; // windows and greatest rates, each with the case that it holds for
let scenario_of_page = "";
let running = false, waiting = null;

/** A drag begins: until it ends the page shows quick looks alone, and builds no control anew. */
export function drag(changes) {
  store.dragging = true;
  look(changes);
}

/** A drag ends with these changes; where they change nothing, what stood before stands again. */
export async function drop(changes) {
  if (!store.dragging) return;
  store.dragging = false;
  waiting = null;
  const { text } = store;
  await change(changes);
  if (store.text === text) tell("back");
}

const read = (text) => {
  const found = QUANTITY.exec(String(text ?? ""));
  return found && Number(found[1]) > 0 ? { value: Number(found[1]), unit: found[2] } : null;
};

/** Three figures that count, as they would be written. */
const written = (value, unit) => `${Number(value.toPrecision(3)).toString().replace(/e\+?/, "e")} ${unit}`;

/** What can be dragged: the rate, and every stroke of the scenario that is shown; valves of a group as one. */
function handles() {
  const made = [], { data } = store.seen;
  const line = line_of(scenario_of_page), index = line?.own ?? -1, own_rate = line?.rate ?? ["rate", "agreed"];
  const add = (name, kind, paths, valve) => {
    const quantity = read(at(paths[0]));
    if (quantity) made.push({ name, kind, paths, valve, ...quantity });
  };
  add(own_rate[0] === "rate" ? "agreed rate" : `rate of ${at([own_rate[0], own_rate[1], "name"])}`, "rate", [own_rate]);
  const groups = new Map();
  for (const [move, path] of moves_of(index)) {
    const valve = move.close ?? move.open ?? move.move;
    const key = move.stroke !== undefined ? "stroke" : typeof move.run_down === "string" ? "run_down" : null;
    if (!key) continue;
    const group = data.valve?.find((v) => v.name === valve)?.group;
    const label = key === "run_down" ? `run-down of ${move.stop ?? "pump"}` : `stroke of ${group || valve}`;
    const before = groups.get(label);
    if (before) before.push([...path, key]);
    else groups.set(label, [[...path, key]]);
    if (!before && key === "stroke" && move.break_opening !== undefined) groups.set(`break of ${group || valve}`, [[...path, "break_opening"]]);
  }
  for (const [label, paths] of groups) {
    if (label.startsWith("break of")) {
      const value = at(paths[0]);
      if (typeof value === "number") made.push({ name: label, paths, value, unit: "", least: 0.02, most: 0.98 });
    } else add(label, label.startsWith("stroke") ? "stroke" : "run-down", paths, at([...paths[0].slice(0, -1), "close"]));
  }
  return made;
}

const changes_of = (handle, value) => handle.paths.map((path) => ({ do: "set", path, value: handle.unit ? written(value, handle.unit) : Number(value.toPrecision(3)) }));

/** One look at a time; of those asked meanwhile only the last. */
async function look(changes) {
  if (running) { waiting = changes; return; }
  running = true;
  try {
    for (let next = changes; next; next = waiting && [waiting, (waiting = null)][0]) {
      const found = await ask("look", { do: "look", name: store.name, text: store.text, changes: next, scenario: scenario_of_page || null, place: store.watched ?? null });
      if (found && store.dragging) tell("look", found);
    }
  } catch (error) {
    tell("trouble", error.message);
  } finally {
    running = false;
  }
}

function slider(handle) {
  const id = fresh("slider"), { least = handle.value / WIDE, most = handle.value * WIDE } = handle;
  const to_value = (k) => (handle.unit ? least * (most / least) ** (k / STEPS) : least + ((most - least) * k) / STEPS);
  const to_place = (v) => (handle.unit ? (STEPS * Math.log(v / least)) / Math.log(most / least) : (STEPS * (v - least)) / (most - least));
  const text = (v) => (handle.unit ? written(v, handle.unit) : String(Number(v.toPrecision(3))));
  const out = el("output", { for: id }, text(handle.value));
  const input = el("input", { type: "range", id, min: 0, max: STEPS, step: 1, value: to_place(handle.value), "aria-valuetext": text(handle.value),
    "data-path": JSON.stringify(handle.paths[0]),
    oninput: () => {
      const value = to_value(Number(input.value));
      out.textContent = text(value);
      input.setAttribute("aria-valuetext", text(value));
      drag(changes_of(handle, value));
    } });
  const end = () => drop(Number(input.value) === Number(begun) ? [] : changes_of(handle, to_value(Number(input.value))));
  const begun = input.value;
  // A slider that is back where it was says no "change".
  for (const event of ["change", "pointerup", "pointercancel", "keyup", "blur"]) input.addEventListener(event, end);
  const track = el("div", { class: "track" }, input);
  const safe = known_of(handle);
  let said = null;
  if (safe && (handle.kind === "rate" || handle.unit === "s")) {
    const from = Math.max(0, to_place(Math.max(safe.least ?? least, least))), to = Math.min(STEPS, safe.most ? to_place(Math.max(safe.most, least)) : STEPS);
    if (safe.open && to > from) {
      const mark = el("span", { class: "safe", "aria-hidden": "true" });
      mark.style.left = `${from / 10}%`;
      mark.style.width = `${(to - from) / 10}%`;
      track.append(mark);
    }
    said = el("p", { class: "hint" }, safe.words);
  }
  return el("div", { class: "slider" }, el("label", { for: id }, words(handle.name)), out, track,
    el("div", { class: "ends", "aria-hidden": "true" }, el("span", {}, text(least)), el("span", {}, text(most))), said);
}

function draw() {
  if (store.dragging) return; // a slider that is taken away would be let go
  const focused = document.activeElement?.closest?.("#sliders") && document.activeElement.getAttribute("data-path");
  const made = store.seen.faults.length ? [] : handles();
  put(by("sliders"), made.length ? made.map(slider) : el("p", { class: "quiet" }, "Nothing can be dragged while the case has faults."));
  if (focused) [...by("sliders").querySelectorAll("input")].find((i) => i.getAttribute("data-path") === focused)?.focus();
}

/** The case without some of its strokes and its rates: what a window, or a greatest rate, was found with. */
function apart_from(valves, rate) {
  const data = structuredClone(store.seen.data);
  for (const key of ["title", "note", "show"]) delete data[key];
  (data.scenario ?? []).forEach((_, i) => {
    for (const [, path] of moves_of(i)) {
      const move = at(path, data);
      if (valves.includes(move.close) && "stroke" in move) move.stroke = null;
    }
  });
  if (rate) at(rate.slice(0, -1), data)[rate[rate.length - 1]] = null;
  return JSON.stringify(data);
}

/** Say which windows are known. Each holds as long as nothing but its own stroke, or its own rate, is changed. */
export function know_windows(document) {
  known = document.valves.map((v) => {
    const valves = [...new Set([v.valve, ...v.scenarios.flatMap((s) => s.together)])];
    return { valves, rate: null, least: v.shortest_safe_stroke_s, most: v.longest_allowed_stroke_s, open: !v.empty, words: `window: ${v.words}`, of: apart_from(valves, null) };
  });
  for (const r of document.rates) {
    const rate = line_of(r.scenario)?.rate, quantity = rate && read(at(rate));
    if (!quantity || r.greatest_safe_m3_per_s === null || r.unsafe_below_agreed_m3_per_s !== null) continue;
    const most = quantity.value * (r.greatest_safe_m3_per_s / r.agreed_m3_per_s), places = 10 ** (3 - Math.ceil(Math.log10(most)));
    known.push({ valves: [], rate, scenario: r.scenario, least: null, most, open: true,
      words: `safe up to ${Math.floor(most * places) / places} ${quantity.unit} in this scenario`, of: apart_from([], rate) });
  }
  draw();
}

/** What is known of a slider, if it holds for the case as it stands. */
function known_of(handle) {
  const own = known.filter((k) => (handle.kind === "stroke" ? k.valves.includes(handle.valve) : handle.kind === "rate" && k.scenario === scenario_of_page && JSON.stringify(k.rate) === JSON.stringify(handle.paths[0])));
  return own.find((k) => k.of === apart_from(k.valves, k.rate)) ?? null;
}

/** Sliders of another scenario. */
export function drag_scenario(name) {
  scenario_of_page = name;
  draw();
}

export function begin_sliders() {
  on("text", draw);
  on("answer", draw);
}
