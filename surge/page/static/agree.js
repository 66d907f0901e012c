// What ship and terminal agree: windows of stroke times, greatest rates, the chart, the sheet.

import { by, download, el, fresh, nice, put, svg } from "./dom.js";
import { know_windows } from "./drag.js";
import { ask, give_up } from "./server.js";
import { before_now, change, line_of, moves_of, on, own_scenario, store } from "./store.js";

const seconds = (v) => (v === null || v === undefined ? "-" : `${v} s`);

/** Ask for something that takes long, with its progress and a way to give it up. */
async function long(given, holder, done) {
  const said = el("span", { role: "status" }, "at work");
  const { text } = store;
  put(holder, el("div", { class: "work" }, el("progress", { "aria-label": "Work under way" }), said,
    el("button", { type: "button", onclick: () => { give_up("agreement"); put(holder, el("p", { class: "quiet" }, "Given up.")); } }, "Give up")));
  try {
    const found = await ask("agreement", { ...given, name: store.name, text }, (word) => { said.textContent = word; });
    if (!found) { if (holder.contains(said)) put(holder, el("p", { class: "quiet" }, "Given up, since something else was asked.")); return; }
    if (found.refused) { put(holder, el("p", { class: "fault" }, found.refused.text)); return; }
    if (text !== store.text) { put(holder, el("p", { class: "quiet" }, "The figures have changed meanwhile: ask again.")); return; }
    done(found);
  } catch (error) {
    put(holder, el("p", { class: "fault" }, error.message));
  }
}

// Windows

/** Every place of the case at which a valve of a set is given a stroke in a scenario. */
const strokes_of = (names, name) => moves_of(own_scenario(name))
  .filter(([move]) => names.includes(move.close ?? move.open ?? move.move) && move.stroke !== undefined).map(([, path]) => [...path, "stroke"]);

const take = (words, changes) => (changes.length ? el("button", { type: "button", class: "quiet-button", onclick: () => change(changes) }, words) : null);

function windows_table(doc) {
  const sets = new Map(doc.valves.map((v) => [JSON.stringify(v.scenarios), v])); // valves of one order have one window
  const rows = [...sets.values()].flatMap((v) => v.scenarios.map((s, i) => el("tr", { class: `is-${s.verdict.replaceAll(" ", "-")}` },
    el("th", { scope: "row" }, i ? "" : s.together.join(", ") || v.valve), el("td", {}, s.scenario),
    el("td", { class: "number" }, seconds(s.shortest_safe_stroke_s)), el("td", { class: "number" }, seconds(s.longest_allowed_stroke_s)),
    el("td", { class: "number" }, seconds(s.stroke_in_case_s)), el("td", {}, s.governs ? s.governs.name : s.reason),
    el("td", {}, s.shortest_safe_stroke_s !== null && s.stroke_in_case_s < s.shortest_safe_stroke_s
      ? take(`Take ${s.shortest_safe_stroke_s} s`, strokes_of(s.together, s.scenario).map((path) => ({ do: "set", path, value: `${s.shortest_safe_stroke_s} s` }))) : null))));
  return el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Windows of stroke times" }, el("table", { class: "table windows" },
    el("caption", {}, el("span", {}, "How fast and how slowly valves may close, each with all else as in the case")),
    el("thead", {}, el("tr", {}, ["valve", "scenario", "not faster than", "not slower than", "in the case", "set by", ""].map((h) => el("th", { scope: "col" }, h)))),
    el("tbody", {}, rows)));
}

/** All valves together, run as such: windows of one valve each do not prove the set. */
function joint_set(found) {
  const { joint } = found.document;
  if (!joint || !found.joint.length) return null;
  const paths = (store.seen.data.scenario ?? []).flatMap((_, i) => moves_of(i)).filter(([move]) => move.close in joint.strokes_s && move.stroke !== undefined);
  const kept = joint.verdict === "limit kept";
  return el("div", { class: `joint is-${joint.verdict.replaceAll(" ", "-")}`, id: "joint" }, el("h4", {}, "The set, all valves together"),
    el("ul", { class: "set" }, Object.entries(joint.strokes_s).map(([valve, stroke]) => el("li", {}, el("strong", {}, seconds(stroke)), ` ${valve}`))),
    found.joint.map((words) => el("p", {}, words)),
    kept ? take("Take this set", paths.map(([move, path]) => ({ do: "set", path: [...path, "stroke"], value: seconds(joint.strokes_s[move.close]) }))) : null);
}

function show_windows(found, holder) {
  const doc = found.document;
  know_windows(doc);
  put(holder, windows_table(doc), joint_set(found),
    el("details", { open: true }, el("summary", {}, "In words, with the greatest rates"), el("pre", { class: "mono", tabindex: 0 }, found.details)));
}

// The case beside the one before, forces, fillings

function show_comparison(found, holder) {
  const [before, after] = found.verdicts;
  put(holder, el("p", { id: "compared" }, el("strong", {}, `${before} before, ${after[0].toLowerCase()}${after.slice(1)} now.`)),
    found.differences.length ? el("ul", {}, found.differences.map((words) => el("li", {}, words))) : el("p", {}, "The two cases say the same."),
    el("img", { class: "history", src: `data:image/png;base64,${found.picture}`, alt: "Highest and lowest pressure of each part, before and now; the words below have the same" }),
    el("details", {}, el("summary", {}, "Every pressure before and now"), el("pre", { class: "mono", tabindex: 0 }, found.text)));
}

/** Nothing to compare with before something is changed or saved. */
function comparison(holder) {
  const before = before_now();
  if (before === null) { put(holder, el("p", { class: "quiet" }, "There is nothing to compare with yet: change a figure, or save once more.")); return; }
  long({ do: "compare", before }, holder, (found) => show_comparison(found, holder));
}

function show_forces(found, holder) {
  put(holder, el("pre", { class: "mono", tabindex: 0 }, found.text),
    el("img", { class: "history", src: `data:image/png;base64,${found.picture}`, alt: "Force along straight legs against time; the words above have the greatest ones" }),
    el("div", { class: "row" }, el("button", { type: "button", onclick: () => download(`${stem()}-forces.csv`, found.histories, "text/csv") }, "Histories as CSV")),
    el("details", {}, el("summary", {}, "Every leg in every scenario"), el("pre", { class: "mono", tabindex: 0 }, found.details)));
}

function show_fillings(found, holder) {
  put(holder, el("img", { class: "history", src: `data:image/png;base64,${found.png}`, alt: "The filling nearest to a limit against time: front, velocity, pressure; the words below have its figures" }),
    el("div", { class: "row" }, el("button", { type: "button", onclick: () => download(`${stem()}-filling.gif`, found.gif, "image/gif") }, "Film as GIF"),
      el("button", { type: "button", onclick: () => download(`${stem()}-filling.csv`, found.csv, "text/csv") }, "Histories as CSV")),
    el("details", {}, el("summary", {}, "Every filling in words"), el("pre", { class: "mono", tabindex: 0 }, found.text)));
}

const stem = () => store.name.split("/").pop().replace(/\.toml$/, "");

// Chart

const W = 640, H = 340, L = 70, T = 18, B = 52;

function chart_picture(found, holder) {
  const doc = found.document, rates = found.rates, strokes = doc.strokes_s;
  const log = (v) => Math.log(v / strokes[0]) / Math.log(strokes[strokes.length - 1] / strokes[0]);
  const edge = (list, f) => (list.length < 2 ? [0, 1] : [0, ...list.slice(1).map((v, i) => (f(list[i]) + f(v)) / 2), 1]);
  const share = (v) => (v - rates[0]) / (rates[rates.length - 1] - rates[0] || 1);
  const xs = edge(strokes, log), ys = edge(rates, share);
  const px = (s) => L + s * W, py = (s) => T + (1 - s) * H;
  const cells = [], words = fresh("cell");
  const tell = (i, j) => {
    const used = doc.share_used[i][j];
    const state = used === null ? "cannot be reached or computed" : used > 1 ? `beyond the limit: ${Math.round(100 * used)} % of it is used` : `${Math.round(100 * used)} % of the limit is used`;
    return `${rates[i].toPrecision(4)} ${found.flow_unit}, ${strokes[j]} s: ${state}`;
  };
  rates.forEach((rate, i) => strokes.forEach((stroke, j) => {
    const used = doc.share_used[i][j], x = px(xs[j]), y = py(ys[i + 1]), width = px(xs[j + 1]) - x, height = py(ys[i]) - y;
    const kind = used === null ? "none" : used > 1 ? "over" : used > 0.9 ? "near" : used > 0.6 ? "middle" : "low";
    const first = !cells.length;
    cells.push(svg("rect", { x, y, width, height, class: `cell ${kind}`, tabindex: first ? 0 : -1, role: "button", "aria-label": `${tell(i, j)}; Enter takes it`, "data-i": i, "data-j": j }));
  }));
  const window_line = (list, className) => {
    const points = list.map((s, i) => (s === null ? null : [px(Math.max(0, Math.min(1, log(s)))), py(share(rates[i]))]));
    let d = "";
    points.forEach((p, i) => { if (p) d += `${i && points[i - 1] ? "L" : "M"}${p[0].toFixed(1)} ${p[1].toFixed(1)}`; });
    return svg("path", { d, class: className });
  };
  const agreed = doc.agreed, own = svg("g", { class: "agreed" },
    svg("circle", { cx: px(log(agreed.stroke_s)), cy: py(share(rates_of(found, agreed.rate_m3_per_s))), r: 7 }), svg("circle", { cx: px(log(agreed.stroke_s)), cy: py(share(rates_of(found, agreed.rate_m3_per_s))), r: 2 }));
  const picture = svg("svg", { viewBox: `0 0 ${L + W + 16} ${T + H + B}`, class: "agree-chart", role: "group", "aria-label": `Rate against stroke time of ${doc.valve} in ${doc.scenario}; arrow keys move, Enter sets the point` },
    svg("defs", {}, svg("pattern", { id: "over", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, svg("path", { d: "M0 0V7" })),
      svg("pattern", { id: "unknown", width: 6, height: 6, patternUnits: "userSpaceOnUse" }, svg("circle", { cx: 1.5, cy: 1.5, r: 1 }))),
    cells, window_line(doc.shortest_safe_stroke_s, "bound"), window_line(doc.longest_allowed_stroke_s, "bound slow"), own,
    round_times(strokes[0], strokes[strokes.length - 1]).map((s) => svg("text", { x: px(log(s)), y: T + H + 18, "text-anchor": "middle" }, String(s))),
    svg("text", { x: L + W / 2, y: T + H + 40, "text-anchor": "middle" }, `stroke time of ${doc.together.join(", ")}, s`),
    nice(rates[0], rates[rates.length - 1]).map((r) => svg("text", { x: L - 8, y: py(share(r)) + 4, "text-anchor": "end" }, String(r))),
    svg("text", { x: 14, y: T + H / 2, transform: `rotate(-90 14 ${T + H / 2})`, "text-anchor": "middle" }, `rate, ${found.flow_unit}`));
  const line = el("p", { id: words, role: "status" }, "Click in the chart, or move with the arrow keys and press Enter: rate and stroke of the case become those of the point.");
  const cell = (i, j) => picture.querySelector(`[data-i="${i}"][data-j="${j}"]`);
  picture.addEventListener("pointerover", (e) => e.target.dataset?.i && (line.textContent = tell(Number(e.target.dataset.i), Number(e.target.dataset.j))));
  picture.addEventListener("focusin", (e) => e.target.dataset?.i && (line.textContent = tell(Number(e.target.dataset.i), Number(e.target.dataset.j))));
  const set = (target) => {
    const i = Number(target.dataset.i), j = Number(target.dataset.j);
    change([{ do: "set", path: line_of(doc.scenario).rate, value: `${Number(rates[i].toPrecision(4))} ${found.flow_unit}` },
      ...strokes_of(doc.together, doc.scenario).map((path) => ({ do: "set", path, value: `${strokes[j]} s` }))]);
  };
  picture.addEventListener("click", (e) => e.target.dataset?.i && set(e.target));
  picture.addEventListener("keydown", (e) => {
    if (!e.target.dataset?.i) return;
    let i = Number(e.target.dataset.i), j = Number(e.target.dataset.j);
    if (e.key === "Enter" || e.key === " ") { e.preventDefault(); set(e.target); return; }
    const move = { ArrowRight: [0, 1], ArrowLeft: [0, -1], ArrowUp: [1, 0], ArrowDown: [-1, 0] }[e.key];
    const next = move && cell(i + move[0], j + move[1]);
    if (!next) return;
    e.preventDefault();
    e.target.setAttribute("tabindex", "-1");
    next.setAttribute("tabindex", "0");
    next.focus();
  });
  put(holder, el("div", { class: "film-box", tabindex: 0, role: "region", "aria-label": "The chart" }, picture), line,
    el("p", { class: "quiet" }, `Scenario ${doc.scenario}. Hatched: beyond a limit. Darker: more of the nearest limit is used. Dotted: cannot be reached. Heavy line: the shortest safe stroke; dashed: the longest that the rules allow. Ring: the point of the case.`),
    el("details", {}, el("summary", {}, "In words"), el("pre", { class: "mono", tabindex: 0 }, found.text)));
}

/** Round stroke times between two others, for an axis by their logarithms. */
const round_times = (low, high) => [0.1, 1, 10, 100, 1000].flatMap((k) => [k, 2 * k, 5 * k]).map((v) => Number(v.toPrecision(1))).filter((v) => v >= low && v <= high);

/** A rate in SI in the unit of the chart. */
function rates_of(found, value) {
  const si = found.document.rates_m3_per_s, k = found.rates.length - 1;
  return (value * found.rates[k]) / si[k];
}

function draw() {
  const parts = Object.fromEntries(["windows", "chart", "sheet", "compare", "forces", "fillings"].map((name) => [name, el("div", { id: `agree-${name}` })]));
  const search = el("input", { type: "checkbox", id: fresh("with") }), orders = el("input", { type: "checkbox", id: fresh("with") });
  const part = (head, words, name, id, label, ask_for, { more = null, primary = false } = {}) => [el("h3", {}, head), el("p", { class: "quiet" }, words), more,
    el("button", { type: "button", id, class: primary ? "primary" : null, onclick: () => ask_for(parts[name]) }, label), parts[name]];
  const fillings = el("div", { hidden: true }, part("Fillings", "Of the filling that comes nearest to a limit: front, velocity and pressure against time, as a picture and as a film.", "fillings", "fillings", "Draw the filling",
    (holder) => long({ do: "fillings" }, holder, (found) => show_fillings(found, holder))));
  on("text", () => { fillings.hidden = !store.seen.data.filling?.length; });
  put(by("agreement"),
    part("Windows and greatest rates", "How fast and how slowly each valve may close, and all of them together. It can take a minute.", "windows", "windows", "Search the windows",
      (holder) => long({ do: "windows", orders: orders.checked }, holder, (found) => show_windows(found, holder)),
      { more: el("div", { class: "row" }, orders, el("label", { for: orders.id }, "also run the valves in other orders (takes longer)")) }),
    part("Chart", "Rate against stroke time of the valve that matters most in the scenario that is shown.", "chart", "draw-chart", "Draw the chart",
      (holder) => long({ do: "chart", scenario: by("scenario").value || null }, holder, (found) => chart_picture(found, holder))),
    part("Compare with the case before", "What has changed since it was saved, and what that does to every pressure.", "compare", "compare", "Compare", comparison),
    part("Forces along straight legs", "For whoever looks at the supports: the force along each straight leg as the wave passes.", "forces", "forces", "Find the forces",
      (holder) => long({ do: "forces" }, holder, (found) => show_forces(found, holder))),
    fillings,
    part("Sheet", "What ship and terminal sign, from the case as it stands here.", "sheet", "sheet", "Sheet as PDF",
      (holder) => long({ do: "sheet", window: search.checked }, holder, (found) => {
        const name = `${stem()}-sheet.pdf`;
        download(name, found.content, "application/pdf");
        put(holder, el("p", {}, `${name}: ${found.text}`));
      }), { more: el("div", { class: "row" }, search, el("label", { for: search.id }, "with windows of stroke times (takes longer)")), primary: true }));
}

export const begin_agreement = draw;
