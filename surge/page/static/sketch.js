// The line-up as a drawing: shore on the left, ship on the right, with the signs of the sheet.

import { by, put, svg } from "./dom.js";
import { at, choose, on, store } from "./store.js";

const NARROW = 62, WIDE = 128, ROW = 98, LEFT = 80, RIGHT = 84, TOP = 58, LINES = 3, OVER = 20;
const HANGING = ["relief_valve", "surge_drum", "open_vessel"];
const SHIP = 8; // letters in a row beside a ship's tank
let COLUMN = NARROW, LETTERS = 12; // as wide as there is room
const SIGN = { "limit kept": "✓", "limit exceeded": "▲", "cannot be decided": "?" };

/** Break a name into lines of some letters. */
function lines(name, letters) {
  const made = [""];
  for (const word of String(name).split(/\s+|(?<=-)/)) {
    const last = made[made.length - 1], joined = last && !last.endsWith("-") ? `${last} ${word}` : last + word;
    if (last && joined.length > letters) made.push(word);
    else made[made.length - 1] = joined;
  }
  const cut = made.map((line) => (line.length > letters + 4 ? `${line.slice(0, letters + 2)}…` : line));
  return cut.length > LINES ? [...cut.slice(0, LINES - 1), `${cut[LINES - 1].slice(0, letters - 1)}…`] : cut;
}

function named(name, x, y, anchor = "middle", className = "name", less = 0) {
  return svg("text", { x, y, "text-anchor": anchor, class: className, "aria-hidden": "true" },
    lines(name, anchor === "start" ? SHIP : LETTERS - less).map((line, i) => svg("tspan", { x, dy: i ? 14 : 0 }, line)));
}

const path = (d, className = "pipe") => svg("path", { d, class: className });

/** The sign of an element in the middle of its line, and half the length that it takes. */
function sign(kind, x, y, f, long) {
  if (kind === "valve") return [11, [path(`M${x - 11} ${y - 8}V${y + 8}L${x + 11} ${y - 8}V${y + 8}z`, "sign")]];
  if (kind === "pump")
    return [12, [svg("circle", { cx: x, cy: y, r: 12, class: "sign" }),
      path(`M${x - 5 * f} ${y - 10.5}L${x + 12 * f} ${y}L${x - 5 * f} ${y + 10.5}`, "sign")]];
  if (kind === "non_return_valve")
    return [9, [path(`M${x - 9 * f} ${y - 8}V${y + 8}L${x + 9 * f} ${y}z M${x + 9 * f} ${y - 8}V${y + 8}`, "sign")]];
  if (kind === "passage")
    return [12, [svg("circle", { cx: x, cy: y, r: 12, class: "sign" }), path(`M${x - 8.5} ${y - 8.5}L${x + 8.5} ${y + 8.5}`, "sign")]];
  if (kind === "hose") {
    const part = Math.min(long * 0.6, 60) / 4;
    const wave = [-1, 1, -1, 1].map((s) => `q${part / 2} ${s * 9} ${part} 0`).join("");
    return [2 * part, [path(`M${x - 2 * part} ${y}${wave}`)]];
  }
  if (kind === "arm") {
    const part = Math.min(long * 0.6, 52) / 2;
    const joints = [[x - part, y], [x - 0.2 * part, y - 12], [x + part, y]];
    return [part, [path(`M${joints.map((p) => p.join(" ")).join("L")}`),
      ...joints.map(([cx, cy]) => svg("circle", { cx, cy, r: 2.6, class: "joint" }))]];
  }
  return [0, []];
}

/** What the check found of a part: its worst line. */
function found(subject, name) {
  if (store.answered !== store.text || !store.answer) return null;
  return store.answer.summary.parts.find((p) => p.subject === subject && p.name === name) ?? null;
}

function spoken(kind, name, worst, broken) {
  const fault = broken ? ", has a fault" : "";
  if (!worst) return `${kind.replaceAll("_", " ")} ${name}${fault}`;
  return `${kind.replaceAll("_", " ")} ${name}: ${worst.check} ${worst.pressure}, limit ${worst.limit}, ${worst.short}${fault}`;
}

const has_fault = (own) => store.seen.faults.some((f) => own.every((part, i) => f.path[i] === part));

/** A part that can be chosen. */
function choice(own, kind, name, children, worst) {
  const chosen = store.chosen && JSON.stringify(store.chosen) === JSON.stringify(own);
  const weak = worst && store.answer.summary.weakest?.[1] === name;
  const broken = has_fault(own);
  const state = ["whole", kind, weak && "weak", worst && `is-${worst.verdict.replaceAll(" ", "-")}`].filter(Boolean).join(" ");
  const classes = ["part", kind, chosen && "chosen", broken && "broken"].filter(Boolean).join(" ");
  // What is read aloud is the label; names and figures that are drawn beside the sign say the same.
  const drawn = children.filter(Boolean), is_text = (one) => one.tagName === "text";
  return svg("g", { class: state },
    svg("g", { class: classes, role: "button", tabindex: -1, "aria-pressed": chosen ? "true" : "false",
      "aria-label": spoken(kind, name, worst, broken), "data-path": JSON.stringify(own) }, drawn.filter((one) => !is_text(one))),
    svg("g", { class: "texts", "aria-hidden": "true" }, drawn.filter(is_text)));
}

function drawn_element(e, x, y) {
  let x0 = x(e.from), x1 = x(e.to);
  const line = y(e.row), pieces = [];
  if (x0 === x1) {
    x1 = x0 + COLUMN * 0.7;
    pieces.push(path(`M${x1} ${line}V${y.point(e.to)}H${x0}`, "thin"));
  }
  const [a, b] = [Math.min(x0, x1), Math.max(x0, x1)];
  const middle = (a + b) / 2, f = x1 >= x0 ? 1 : -1;
  const [half, marks] = sign(e.kind, middle, line, f, b - a);
  const wide = ["pipe", "hose", "arm"].includes(e.kind) ? "pipe" : "thin";
  const own = [e.kind, e.index], worst = found("element", e.name);
  pieces.unshift(svg("rect", { x: a + 2, y: line - 36, width: b - a - 4, height: 90, rx: 8, class: "field" }));
  pieces.push(path(`M${a} ${line}H${middle - half}M${middle + half} ${line}H${b}`, wide), ...marks,
    named(e.name || "no name", middle, line + 27, "middle", "name", worst && store.answer.summary.weakest?.[1] === e.name ? 2 : 0));
  if (worst) pieces.push(svg("text", { x: middle, y: line - (e.kind === "arm" ? 22 : 18), "text-anchor": "middle", class: "figure", "aria-hidden": "true" },
    `${SIGN[worst.verdict]} ${worst.pressure}`));
  if (has_fault(own)) pieces.push(svg("text", { x: b - 10, y: line - 14, class: "fault-mark", "text-anchor": "end", "aria-hidden": "true" }, "✎!"));
  return choice(own, e.kind, e.name, pieces, worst);
}

function drawn_thing(t, x, y) {
  const px = x(t.at), py = y.point(t.at), own = [t.kind, t.index], pieces = [];
  if (t.kind === "tank" && t.side === "shore") {
    pieces.push(svg("rect", { x: px - 78, y: py - 40, width: 76, height: 84, rx: 8, class: "field" }),
      path(`M${px} ${py}H${px - 12}`), path(`M${px - 62} ${py - 32}V${py + 8}H${px - 12}V${py - 32}`, "thin"),
      path(`M${px - 62} ${py - 20}H${px - 12}M${px - 54} ${py - 15}h10`, "level"), named(t.name, px - 40, py + 27));
  } else if (t.kind === "tank") {
    pieces.push(svg("rect", { x: px + 2, y: py - 14, width: 108, height: 66, rx: 8, class: "field" }),
      path(`M${px} ${py}h20v14`), path(`M${px + 6} ${py + 6}v34h34v-34`, "thin"),
      path(`M${px + 6} ${py + 26}h34M${px + 12} ${py + 31}h10`, "level"), named(t.name, px + 46, py + 14, "start"));
  } else if (t.kind === "supply") {
    pieces.push(svg("rect", { x: px - 78, y: py - 22, width: 76, height: 66, rx: 8, class: "field" }),
      path(`M${px - 54} ${py - 11}h30l24 11l-24 11h-30z`, "sign"), named(t.name, px - 40, py + 27));
  } else {
    const foot = py - OVER; // above the figures of the parts beside it
    const shape = { surge_drum: `M${px - 9} ${foot - 18}v-16q0 -6 9 -6t9 6v16q0 6 -9 6t-9 -6zM${px - 9} ${foot - 25}h18`,
      open_vessel: `M${px - 11} ${foot - 42}V${foot - 12}h22V${foot - 42}M${px - 11} ${foot - 26}h22` }[t.kind]
      ?? `M${px - 7} ${foot - 16}h14L${px} ${foot - 28}zM${px} ${foot - 28}L${px + 13} ${foot - 35}v14z`;
    pieces.push(svg("rect", { x: px - 17, y: foot - 45, width: 34, height: 33, rx: 8, class: "field" }),
      path(`M${px} ${py}V${foot - 14}`, "thin"), path(shape, "sign"),
      svg("text", { x: px, y: foot - 48, "text-anchor": "middle", class: "name", "aria-hidden": "true" }, t.name));
  }
  return choice(own, t.kind, t.name, pieces, null);
}

function drawn_point(name, x, y) {
  const own = ["points", name], worst = found("place", name);
  const closed = at([...own, "closed"]) === true;
  const weak = worst && worst.verdict !== "limit kept";
  return choice(own, "point", name, [
    svg("circle", { cx: x(name), cy: y.point(name), r: 11, class: "field" }),
    closed ? path(`M${x(name)} ${y.point(name) - 9}v18`, "closed") : svg("circle", { cx: x(name), cy: y.point(name), r: 3.4, class: "joint" }),
    weak && path(`M${x(name)} ${y.point(name) - 12}v-20`, "leader"),
    weak && svg("text", { x: x(name), y: y.point(name) - 36, "text-anchor": "middle", class: "figure", "aria-hidden": "true" }, `${SIGN[worst.verdict]} ${worst.pressure}`),
  ], worst);
}

/** Shore and ship, parted at the hoses and arms where these lie together. */
function sides(elements, x, height) {
  const across = elements.filter((e) => e.kind === "hose" || e.kind === "arm").map((e) => (x(e.from) + x(e.to)) / 2);
  if (!across.length || Math.max(...across) - Math.min(...across) > COLUMN / 2) return [];
  const middle = across.reduce((a, b) => a + b) / across.length;
  return [path(`M${middle} 6V${height - 8}`, "side"),
    svg("text", { x: middle - 10, y: 18, "text-anchor": "end", class: "side-name" }, "SHORE"),
    svg("text", { x: middle + 10, y: 18, "text-anchor": "start", class: "side-name" }, "SHIP")];
}

function risers(drawing, x, y) {
  const rows = Object.fromEntries(Object.keys(drawing.points).map((p) => [p, [y.point(p)]]));
  for (const e of drawing.elements) for (const p of [e.from, e.to]) rows[p].push(y(e.row));
  return Object.entries(rows).filter(([, r]) => Math.min(...r) < Math.max(...r))
    .map(([p, r]) => path(`M${x(p)} ${Math.min(...r)}V${Math.max(...r)}`));
}

/** Rows nearer to where they join: a second arm stands beside the first, not below everything. */
function closer(drawing) {
  const points = structuredClone(drawing.points), elements = structuredClone(drawing.elements);
  const ends = (e) => [e.from, e.to], column = (p) => points[p][0];
  const groups = [...new Set(elements.map((e) => e.row))].sort((a, b) => b - a);
  for (const row of groups) {
    const own = elements.filter((e) => e.row === row);
    const inside = Object.keys(points).filter((p) => points[p][1] === row);
    const joined = own.flatMap(ends).filter((p) => points[p][1] !== row);
    if (!joined.length || drawing.things.some((t) => inside.includes(t.at))) continue;
    const columns = own.flatMap(ends).map(column), low = Math.min(...columns), high = Math.max(...columns);
    const home = points[joined[0]][1];
    const spans = (e) => [Math.min(...ends(e).map(column)), Math.max(...ends(e).map(column))];
    const others = elements.filter((e) => !own.includes(e));
    const upright = others.flatMap((e) => ends(e).map((p) => [column(p), Math.min(e.row, points[p][1]), Math.max(e.row, points[p][1])]));
    const taken = (r) => others.some((e) => e.row === r && spans(e)[0] < high && spans(e)[1] > low)
      || Object.keys(points).some((p) => !inside.includes(p) && points[p][1] === r && column(p) >= low && column(p) <= high)
      || upright.some(([c, a, b]) => c > low && c < high && a <= r && b >= r);
    const crossed = (r) => joined.some((p) => elements.some((e) => !own.includes(e) && e.row > Math.min(r, home) && e.row < Math.max(r, home)
      && spans(e)[0] < column(p) && spans(e)[1] > column(p)));
    const free = [...Array(Math.max(...groups) + 1).keys()].filter((r) => r !== row && !taken(r) && !crossed(r) && Math.abs(r - home) < Math.abs(row - home))
      .sort((a, b) => Math.abs(a - home) - Math.abs(b - home) || b - a)[0];
    if (free === undefined) continue;
    for (const e of own) e.row = free;
    for (const p of inside) points[p][1] = free;
  }
  const used = [...new Set([...elements.map((e) => e.row), ...Object.values(points).map((p) => p[1])])].sort((a, b) => a - b);
  for (const e of elements) e.row = used.indexOf(e.row);
  for (const p of Object.values(points)) p[1] = used.indexOf(p[1]);
  return { ...drawing, points, elements };
}

/** Draw the line-up anew. */
export function draw() {
  const holder = by("sketch");
  const drawing = closer(store.seen.drawing);
  const places = Object.values(drawing.points);
  if (!places.length) {
    put(holder, document.createTextNode("Nothing to draw yet: no points are joined."));
    return;
  }
  const columns = Math.max(...places.map((p) => p[0]));
  const beside = drawing.things.filter((t) => t.kind === "tank" && t.side !== "shore").flatMap((t) => lines(t.name, SHIP));
  const right = Math.max(RIGHT, 52 + 7 * Math.max(0, ...beside.map((line) => line.length)));
  COLUMN = Math.max(NARROW, Math.min(WIDE, (holder.clientWidth - LEFT - right - 16) / Math.max(columns, 1)));
  LETTERS = Math.floor(COLUMN / 7.2);
  const top = drawing.things.some((t) => HANGING.includes(t.kind)) ? TOP + 24 + OVER : TOP; // their names stand above them
  const rows = 1 + Math.max(...places.map((p) => p[1]), ...drawing.elements.map((e) => e.row));
  const width = LEFT + columns * COLUMN + right, height = top + rows * ROW;
  const x = (point) => LEFT + drawing.points[point][0] * COLUMN;
  const y = (row) => top + row * ROW;
  y.point = (point) => y(drawing.points[point][1]);
  const focused = document.activeElement?.closest?.("#sketch .part")?.getAttribute("data-path");
  const scroll = holder.scrollLeft;
  const made = svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, role: "group",
    "aria-label": "Line-up from shore to ship; arrow keys go from part to part, Enter chooses" },
    sides(drawing.elements, x, height), risers(drawing, x, y),
    drawing.elements.map((e) => drawn_element(e, x, y)),
    drawing.things.map((t) => drawn_thing(t, x, y)),
    Object.keys(drawing.points).map((p) => drawn_point(p, x, y)));
  put(holder, made);
  holder.scrollLeft = scroll;
  by("wider").hidden = holder.scrollWidth <= holder.clientWidth;
  const parts = in_order();
  const first = parts.find((p) => p.getAttribute("data-path") === focused) ?? parts.find((p) => p.classList.contains("chosen")) ?? parts[0];
  first?.setAttribute("tabindex", "0");
  if (focused) first?.focus();
}

/** Parts from shore to ship, from top to bottom; points last of what stands at a place. */
function in_order() {
  const place = (part) => {
    const box = part.querySelector(".field")?.getBBox() ?? part.getBBox();
    return [Math.round((box.x + box.width / 2) / (COLUMN / 2)), box.y + box.height / 2];
  };
  return [...by("sketch").querySelectorAll(".part")].map((part) => [part, place(part)])
    .sort(([, a], [, b]) => a[0] - b[0] || a[1] - b[1]).map(([part]) => part);
}

function go(event) {
  const part = event.target.closest?.(".part");
  if (!part) return;
  if (event.key === "Enter" || event.key === " ") {
    event.preventDefault();
    choose(JSON.parse(part.getAttribute("data-path")), { focus: true });
    return;
  }
  const parts = in_order(), here = parts.indexOf(part);
  const to = { ArrowRight: here + 1, ArrowDown: here + 1, ArrowLeft: here - 1, ArrowUp: here - 1, Home: 0, End: parts.length - 1 }[event.key];
  if (to === undefined || !parts[to]) return;
  event.preventDefault();
  part.setAttribute("tabindex", "-1");
  parts[to].setAttribute("tabindex", "0");
  parts[to].focus();
}

// Heights: the same parts from the side, every point at its elevation.

/** Draw points at their elevations. A case with faults has none. */
function draw_heights() {
  const holder = by("heights");
  if (!holder.closest("details").open) return;
  const { elevations, drawing } = store.seen, names = Object.keys(elevations).filter((p) => drawing.points[p]);
  if (!names.length) {
    put(holder, document.createTextNode("Heights are drawn once the case has no fault."));
    return;
  }
  const values = names.map((p) => elevations[p]), columns = Math.max(...names.map((p) => drawing.points[p][0]), 1);
  const low = Math.min(0, ...values), high = Math.max(...values, low + 1), tall = 170;
  const wide = Math.max(52, (holder.clientWidth - 120) / columns);
  const x = (p) => 60 + drawing.points[p][0] * wide, y = (v) => 22 + (tall * (high - v)) / (high - low);
  const step = [1, 2, 5, 10, 20, 50, 100, 200, 500].find((k) => (high - low) / k <= 6) ?? 1000, lines = [];
  for (let v = Math.ceil(low / step) * step; v <= high; v += step) lines.push(v);
  const label = new Map(); // of points at one spot only the first is written
  const beside = (p) => drawing.elements.flatMap((e) => (e.from === p ? [e.to] : e.to === p ? [e.from] : [])).map((other) => elevations[other]);
  const lowest = (p) => beside(p).every((v) => v > elevations[p]); // its figure stands below it
  const spots = names.map((p, i) => {
    const spot = `${drawing.points[p][0]} ${elevations[p].toFixed(1)}`, own = ["points", p];
    const first = !label.has(spot);
    label.set(spot, true);
    const chosen = JSON.stringify(store.chosen) === JSON.stringify(own);
    return svg("g", {}, svg("circle", { cx: x(p), cy: y(elevations[p]), r: 5, class: chosen ? "spot chosen" : "spot", role: "button", tabindex: i ? -1 : 0,
      "aria-label": `point ${p}, ${elevations[p]} m`, "data-path": JSON.stringify(own) }, svg("title", {}, `${p}: ${elevations[p]} m`)),
    first ? svg("text", { x: x(p), y: y(elevations[p]) + (lowest(p) ? 19 : -9), "text-anchor": "middle", "aria-hidden": "true" }, String(Number(elevations[p].toFixed(2)))) : null);
  });
  put(holder, svg("svg", { viewBox: `0 0 ${120 + columns * wide} ${tall + 46}`, width: 120 + columns * wide, height: tall + 46, class: "heights", role: "group",
    "aria-label": "Heights of the points above the datum of the case, from shore to ship; arrow keys go from point to point, Enter chooses" },
    lines.map((v) => svg("g", {}, svg("path", { d: `M44 ${y(v)}H${110 + columns * wide}`, class: "grid" }), svg("text", { x: 38, y: y(v) + 4, "text-anchor": "end" }, `${v} m`))),
    drawing.elements.filter((e) => e.from in elevations && e.to in elevations).map((e) => svg("path", { d: `M${x(e.from)} ${y(elevations[e.from])}L${x(e.to)} ${y(elevations[e.to])}`,
      class: ["pipe", "hose", "arm"].includes(e.kind) ? "run" : "run link" }, svg("title", {}, e.name))),
    spots));
}

function go_heights(event) {
  const spot = event.target.closest?.(".spot");
  if (!spot) return;
  if (event.key === "Enter" || event.key === " ") {
    event.preventDefault();
    choose(JSON.parse(spot.getAttribute("data-path")), { focus: true });
    return;
  }
  const all = [...by("heights").querySelectorAll(".spot")].sort((a, b) => a.getAttribute("cx") - b.getAttribute("cx") || a.getAttribute("cy") - b.getAttribute("cy"));
  const next = all[all.indexOf(spot) + ({ ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key] ?? 0)];
  if (!next || next === spot) return;
  event.preventDefault();
  spot.setAttribute("tabindex", "-1");
  next.setAttribute("tabindex", "0");
  next.focus();
}

/** Draw whenever something changes, and listen to clicks and keys. */
export function begin_sketch() {
  by("sketch").addEventListener("click", (event) => {
    const part = event.target.closest?.(".part");
    if (part) choose(JSON.parse(part.getAttribute("data-path")));
  });
  by("sketch").addEventListener("keydown", go);
  by("heights").addEventListener("click", (event) => {
    const spot = event.target.closest?.(".spot");
    if (spot) choose(JSON.parse(spot.getAttribute("data-path")));
  });
  by("heights").addEventListener("keydown", go_heights);
  by("heights").closest("details").addEventListener("toggle", draw_heights);
  for (const event of ["text", "chosen", "answer"]) on(event, draw);
  for (const event of ["text", "chosen"]) on(event, draw_heights);
  let wide = 0;
  new ResizeObserver(([{ contentRect }]) => { if (Math.abs(contentRect.width - wide) > 4) { wide = contentRect.width; draw(); draw_heights(); } }).observe(by("sketch"));
}
