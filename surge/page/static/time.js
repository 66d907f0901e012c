// Pressure against time: the weakest place of a scenario, and a second place if wanted.

import { by, el, floats, put, style } from "./dom.js";

let plot = null, shown = null, drawn = "";
let palette = null; // read once: while a slider is dragged there is no time to ask the sheet of styles

function colour(name) {
  palette ??= Object.fromEntries(["curve", "curve-2", "curve-3", "ink", "ink-2", "line", "font", "limit", "limit-soft", "boil-soft"].map((key) => [key, style(`--${key}`)]));
  return palette[name];
}

function axes(unit) {
  const ink = colour("ink-2"), grid = colour("line");
  const font = `12px ${colour("font")}`;
  const one = (label, more) => ({ stroke: ink, grid: { stroke: grid, width: 1 }, ticks: { stroke: grid, width: 1 }, font, labelFont: font, label, labelSize: 18, ...more });
  return [one("time, s"), one(`pressure, ${unit}`, { size: 58 })];
}

/** Lines across for limits, and what is beyond them hatched; where the cargo boils the rest is not valid. */
function limits() {
  const scale = () => devicePixelRatio;
  const inside = (u, paint) => {
    const { ctx } = u, { left, top, width, height } = u.bbox;
    ctx.save();
    ctx.beginPath();
    ctx.rect(left, top, width, height);
    ctx.clip();
    ctx.font = `${12 * scale()}px ${colour("font")}`;
    ctx.textAlign = "left";
    paint(ctx, left, top, width, height);
    ctx.restore();
  };
  const hatch = (ctx, left, y0, width, y1) => {
    if (y1 <= y0) return;
    ctx.save();
    ctx.beginPath();
    ctx.rect(left, y0, width, y1 - y0);
    ctx.clip();
    ctx.strokeStyle = colour("limit-soft");
    ctx.lineWidth = scale();
    ctx.beginPath();
    for (let x = left - (y1 - y0); x < left + width; x += 9 * scale()) { ctx.moveTo(x, y1); ctx.lineTo(x + y1 - y0, y0); }
    ctx.stroke();
    ctx.restore();
  };
  const known = (v) => v !== null && v !== undefined;
  const below = (u) => inside(u, (ctx, left, top, width, height) => {
    const { data } = shown;
    if (known(data.boils)) {
      const x = u.valToPos(data.boils, "x", true);
      ctx.fillStyle = colour("boil-soft");
      ctx.fillRect(x, top, left + width - x, height);
    }
    if (known(data.upper)) hatch(ctx, left, top, width, Math.min(u.valToPos(data.upper, "y", true), top + height));
    if (known(data.lower)) hatch(ctx, left, Math.max(u.valToPos(data.lower, "y", true), top), width, top + height);
  });
  const above = (u) => inside(u, (ctx, left, top, width, height) => {
    const { data } = shown;
    const line = (value, words, dy) => {
      if (!known(value)) return;
      const y = u.valToPos(value, "y", true);
      ctx.strokeStyle = ctx.fillStyle = colour("limit");
      ctx.lineWidth = 1.8 * scale();
      ctx.setLineDash([8 * scale(), 4 * scale()]);
      ctx.beginPath();
      ctx.moveTo(left, y);
      ctx.lineTo(left + width, y);
      ctx.stroke();
      ctx.setLineDash([]);
      ctx.fillText(words, left + 8 * scale(), y + dy * scale());
    };
    line(data.upper, `limit ${data.upper?.toFixed(2)}${data.upper_of ? ` of ${data.upper_of}` : ""}`, -6);
    line(data.lower, data.lower_words, 14);
    if (known(data.boils)) {
      const x = u.valToPos(data.boils, "x", true);
      ctx.fillStyle = ctx.strokeStyle = colour("ink");
      ctx.lineWidth = scale();
      ctx.strokeRect(x, top - 9, 0, height + 18);
      const words = data.cavities ? "boils: with cavities from here" : "boils: not valid from here";
      ctx.fillText(words, Math.min(x + 6 * scale(), left + width - ctx.measureText(words).width - 4 * scale()), top + 16 * scale());
    }
  });
  return { hooks: { drawClear: [below], draw: [above] } };
}

/** Room above and below the curves, with the limits that are near. */
function range(u, low, high) {
  const { data } = shown, values = [low, high];
  if (data.upper !== null && data.upper !== undefined && high > 0.5 * data.upper) values.push(data.upper);
  if (data.lower !== null && data.lower !== undefined) values.push(data.lower);
  const [a, b] = [Math.min(...values), Math.max(...values)], room = 0.08 * (b - a || 1);
  return [a - 1.7 * room, b + room];
}

function draw() {
  const holder = by("chart");
  if (!shown) { end_plot(); put(holder); return; }
  const { data } = shown, rows = [data.time, ...data.curves.map((c) => c.values)];
  const kind = JSON.stringify([data.unit, data.curves.map((c) => [c.name, Boolean(c.quick)])]);
  holder.setAttribute("aria-label", data.words);
  // The next curve of a drag has the place of the one before: nothing is built anew.
  if (plot && kind === drawn) { plot.setData(rows); return; }
  end_plot();
  drawn = kind;
  const stroke = ["curve", "curve-2", "curve-3"].map(colour);
  plot = new uPlot({
    width: holder.clientWidth || 600, height: Math.max(230, Math.min(340, innerHeight * 0.4)),
    cursor: { drag: { x: true, y: false } }, legend: { live: true },
    scales: { x: { time: false }, y: { range } },
    axes: axes(data.unit),
    series: [{ label: "time", value: (u, v) => (v === null ? "-" : `${v.toFixed(2)} s`) },
      ...data.curves.map((c, i) => ({ label: c.name, stroke: stroke[i % 3], width: 2, dash: c.quick ? [3, 3] : i ? [8, 4] : [], points: { show: false },
        value: (u, v) => (v === null ? "-" : `${v.toFixed(2)} ${data.unit}`) }))],
    plugins: [limits()],
  }, rows, holder);
}

function end_plot() {
  plot?.destroy();
  plot = null;
  drawn = "";
}

/** Show the histories of a full run. */
export function show_histories(found) {
  const first = found.traces[0];
  const time = Array.from(floats(found.time));
  const curves = found.traces.map((t) => ({ name: t.name, values: Array.from(floats(t.pressure)) }));
  const peak = curves.length ? Math.max(...curves[0].values) : 0;
  shown = { data: { time, curves, unit: found.unit, upper: first?.upper ?? null, upper_of: first?.upper_of, lower: first?.lower ?? null, boils: found.boils, cavities: found.cavities,
    lower_words: first ? `${first.lower_source}, ${first.lower?.toFixed(2)}` : "",
    words: `Pressure against time in the scenario ${found.scenario}: ${first ? `at ${first.name} up to ${peak.toFixed(2)} ${found.unit}` : ""}` } };
  const [, which, worst] = found.words.split("\n");
  put(by("chart-words"), document.createTextNode(found.worst ? `${which}.` : `${which}. ${worst}`));
  draw();
}

/** Show the curve of a quick look, which is no verdict, over the limits that stand. */
export function show_look(look) {
  const limit = look.peaks.find((p) => p.name === look.of)?.limit ?? null;
  const before = shown?.data;
  shown = { data: { time: Array.from(floats(look.time)), curves: [{ name: `${look.place} (quick look)`, values: Array.from(floats(look.pressure)), quick: true }],
    unit: look.unit, upper: limit ?? before?.upper ?? null, upper_of: limit === null ? before?.upper_of : look.of, lower: before?.lower ?? null,
    lower_words: before?.lower_words ?? "", boils: look.boils, words: `${look.words}: pressure against time at ${look.place}` } };
  draw();
}

/** Nothing to show. */
export function clear_chart(words) {
  shown = null;
  end_plot();
  put(by("chart"), el("p", { class: "quiet empty" }, words));
  put(by("chart-words"));
}

/** Keep the size of the page, and its colours. */
export function begin_chart() {
  new ResizeObserver(() => plot && plot.setSize({ width: by("chart").clientWidth, height: plot.height })).observe(by("chart"));
  for (const media of ["(prefers-color-scheme: dark)", "print"]) // on paper the page is light
    matchMedia(media).addEventListener("change", () => { palette = null; end_plot(); if (shown) draw(); });
}
