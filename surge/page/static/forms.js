// Forms for the tables of a case, made from the format itself: a field for each key, faults beside the field.

import { by, el, fresh, put, words } from "./dom.js";
import { at, change, choose, on, store } from "./store.js";

const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);
const starts = (path, own) => own.every((part, i) => path[i] === part);
const SETTINGS = [["title", "Title and note"], ["liquid", "Cargo"], ["rate", "Rate"], ["berth", "Berth and ship"], ["show", "Units"], ["limits", "Limits"],
  ["site", "Site"], ["calculation", "Calculation"], ["bands", "Bands"], ["rules", "Rules"]];
const POINT_KEYS = ["from", "to", "at", "same_elevation_as"];
const KINDS = ["pipe", "valve", "hose", "arm", "pump", "passage", "non_return_valve"];
const FIRST = {
  pipe: { length: "10 m", size: "12 inch", schedule: "standard", material: "steel", restraint: "expansion joints", roughness: "0.05 mm", rating: "10 bar(g)" },
  arm: { length: "22 m", size: "10 inch", schedule: "standard", material: "steel", restraint: "expansion joints", roughness: "0.05 mm", rating: "10 bar(g)", test_pressure: "15 bar(g)" },
  hose: { length: "18 m", inside_diameter: "254 mm", type: "rubber dock hose, 10 bar", rating: "10 bar(g)" },
  valve: { type: "butterfly", size: "10 inch", opening: 1, rating: "10 bar(g)" },
  pump: { curve: [["0 m3/h", "90 m"], ["600 m3/h", "80 m"], ["900 m3/h", "65 m"]], non_return_valve: true },
  passage: { kind: "fixed loss", loss_factor: 1, inside_diameter: "254 mm" },
  non_return_valve: { kv: "2400 m3/h" },
};

const THINGS = {
  tank: { side: "ship", level: "3 m", blanket: "0.05 bar(g)", ullage: "20 m3" },
  supply: { pressure: "6 bar(g)", shut_off_pressure: "8 bar(g)" },
  relief_valve: { set_pressure: "9 bar(g)", full_lift_pressure: "10 bar(g)", kv: "100 m3/h", opening_time: "0.2 s", back_pressure: "0 bar(g)" },
  surge_drum: { volume: "1 m3", gas_volume: "0.5 m3", gas_exponent: 1.2, neck_kv: "500 m3/h" },
  open_vessel: { inside_diameter: "2 m", rim: "20 m" },
};

// The format

function resolved(schema) {
  if (schema?.$ref) return resolved(store.start.schema.$defs[schema.$ref.split("/").pop()]);
  const other = schema?.anyOf?.filter((one) => one.type !== "null");
  if (other?.length === 1) return resolved(other[0]);
  return schema ?? {};
}

function schema_at(path) {
  let schema = store.start.schema;
  for (const part of path) {
    schema = resolved(schema);
    if (schema.anyOf) schema = schema.anyOf.map(resolved).find((one) => one.type === "array") ?? {};
    schema = typeof part === "number" ? (schema.prefixItems?.[part] ?? schema.items)
      : (schema.properties?.[part] ?? schema.additionalProperties);
    if (!schema || schema === true) return {};
  }
  return resolved(schema);
}

const single = (schema) => resolved(schema.anyOf ? schema.anyOf.map(resolved).find((one) => one.type !== "array") : schema);

// What a field says becomes a value

function value_of(text, schema) {
  const one = single(schema);
  if (one.format === "date" && /^\d{4}-\d\d-\d\d$/.test(text)) return { day: text };
  if ((one.type === "number" || one.type === "integer") && /^[+-]?\d+(\.\d+)?([eE][+-]?\d+)?$/.test(text.trim())) return Number(text);
  return text;
}

const shown = (value) => (value && typeof value === "object" && "day" in value ? value.day : String(value ?? ""));

// Names that a field offers

function names_for(path) {
  const key = path[path.length - 1], { data } = store.seen, kind = path[0];
  const of = (...kinds) => kinds.flatMap((k) => (Array.isArray(data[k]) ? data[k] : []).map((t) => t.name)).filter((n) => typeof n === "string");
  if (POINT_KEYS.includes(key) && kind !== "scenario" && kind !== "rate" && data.points) return Object.keys(data.points).map((value) => ({ value }));
  if (["close", "open", "move"].includes(key)) return of("valve").map((value) => ({ value }));
  if (["stop", "start", "trip"].includes(key)) return of("pump").map((value) => ({ value }));
  if (kind === "rate" && key === "at") return of("valve", "pump", "supply").map((value) => ({ value }));
  if (kind === "rate" && key === "through") return of("pipe", "hose", "arm").map((value) => ({ value }));
  if (kind === "berth" && key === "cargo") return [];
  return store.start.known[`${kind}.${key}`] ?? [];
}

// Fields

function fault_lines(path, id) {
  const own = store.seen.faults.filter((f) => same(f.path, path));
  if (!own.length) return null;
  return el("div", { class: "fault", id },
    own.map((f) => el("p", {}, el("strong", {}, "Found "), f.found, ". ", el("strong", {}, "Expected "), f.expected, ". ",
      el("strong", {}, "Write: "), f.remedy, ".")));
}

let alike = null; // the figure that was set last, with those that had the same figure before

/** The same key of other parts of the kind, where it has the same figure: arms, drop lines, tops of drop lines. */
function like(path) {
  const value = at(path), key = path[path.length - 1];
  if (typeof value !== "string" && typeof value !== "number") return [];
  if (key === "name" || path.length !== 3 || store.start.schema.properties[path[0]] === undefined) return [];
  const others = path[0] === "points" ? Object.keys(at(["points"])) : (at([path[0]]) ?? []).map((_, i) => i);
  return Array.isArray(at([path[0]])) || path[0] === "points"
    ? others.filter((one) => one !== path[1] && at([path[0], one, key]) === value).map((one) => [path[0], one, key]) : [];
}

const name_at = ([kind, one]) => (kind === "points" ? one : at([kind, one, "name"]) ?? words(kind));

async function set(path, value) {
  const others = like(path), before = at(path);
  await change([{ do: "set", path, value }]);
  if (!same(at(path), value) || same(before, value)) return;
  alike = others.length ? { path, value, others } : null;
  if (alike) draw_form();
}

/** Offer to give a figure to those that had the same one before. */
function offer_alike(path) {
  if (!alike || !same(alike.path, path) || !same(at(path), alike.value)) return null;
  const { others, value } = alike, names = others.map(name_at).join(", ");
  return el("p", { class: "hint" }, el("button", { type: "button", class: "quiet-button", title: names, onclick: () => { alike = null; change(others.map((other) => ({ do: "set", path: other, value }))); } },
    `The same for ${others.length === 1 ? names : `${others.length} others`}`), others.length > 1 && ` ${names}`);
}

const unset = (path) => change([{ do: "unset", path }]);

function control(path, value, schema, id, described, broken, label = null) {
  const one = single(schema);
  const common = { id, "aria-describedby": described || null, "aria-invalid": broken ? "true" : null, "data-path": JSON.stringify(path),
    "aria-label": label };
  if (one.type === "boolean" && (typeof value === "boolean" || value === undefined)) {
    return el("select", { ...common, onchange: (e) => set(path, e.target.value === "yes") },
      value === undefined && el("option", { value: "" }, "choose"),
      ["yes", "no"].map((word) => el("option", { value: word, selected: value === (word === "yes") }, word)));
  }
  if (one.enum) {
    const options = one.enum.map(String);
    if (value !== undefined && !options.includes(shown(value))) options.unshift(shown(value));
    return el("select", { ...common, onchange: (e) => set(path, typeof one.enum[0] === "number" ? Number(e.target.value) : e.target.value) },
      value === undefined && el("option", { value: "" }, "choose"),
      options.map((o) => el("option", { value: o, selected: o === shown(value) }, o)));
  }
  const names = names_for(path);
  const list = names.length ? fresh("names") : null;
  const long = path[path.length - 1] === "note";
  const field = el(long ? "textarea" : "input", {
    ...common, value: shown(value), autocomplete: "off", spellcheck: long ? "true" : "false", list, rows: long ? 3 : null,
    inputmode: one.type === "number" ? "decimal" : null, placeholder: one.examples?.[0] ?? (one.format === "date" ? "2026-03-14" : null),
    type: long ? null : "text",
    onchange: (e) => { e.target.shown = e.target.value; return (path[path.length - 1] === "name" && !named_free(path) ? rename(path.slice(0, -1), e.target.value) : set(path, value_of(e.target.value, schema))); },
  });
  field.shown = field.value;
  return list ? [field, el("datalist", { id: list }, names.map((n) => el("option", { value: n.value, label: n.hint || n.source || null }, n.hint || n.value)))] : field;
}

/** Whether the name of a table names nothing else: those of the liquid, the berth, a stage. */
const named_free = (path) => ["liquid", "berth", "stage"].includes(path[0]) || path.length !== 3 || path[0] === "points";

function rename(path, name) {
  return change([{ do: "rename", path, new: name }]);
}

const NAMED = { from: "the point where it begins", to: "the point where it ends", at: "where it stands", name: "",
  close: "a valve", open: "a valve", move: "a valve", stop: "a pump", start: "a pump", trip: "a pump", through: "where the rate is counted" };

function help(schema, key) {
  const one = single(schema);
  const parts = [one.description === "a name" ? NAMED[key] ?? one.description : one.description];
  if (one.minimum !== undefined && one.maximum !== undefined) parts.push(`${one.minimum} to ${one.maximum}`);
  if (schema.anyOf && schema.anyOf.length > 1) parts.push("or a table");
  return parts.filter(Boolean).join("; ").replace(" (see `surge list`)", "");
}

function source(path, value) {
  const row = names_for(path).find((n) => n.value === value);
  return row?.source ? el("p", { class: "source" }, row.hint ? `${row.hint}. ` : "", `Source: ${row.source}`) : null;
}

function field(path, value, { required = false } = {}) {
  const key = path[path.length - 1], schema = schema_at(path);
  if (Array.isArray(value)) return value.length && typeof value[0] === "object" && !Array.isArray(value[0]) ? tables(path, value) : list(path, value);
  if (value && typeof value === "object" && !("day" in value)) return table(path, value);
  const id = fresh("field"), hint = fresh("hint"), fault = fresh("fault");
  const faults = fault_lines(path, fault);
  return el("div", { class: faults ? "field bad" : "field" },
    el("label", { for: id }, words(key)),
    el("div", { class: "row" }, control(path, value, schema, id, `${hint}${faults ? ` ${fault}` : ""}`, faults),
      !required && value !== undefined && key !== "name" &&
        el("button", { type: "button", class: "small", title: "Take this figure away", "aria-label": `Take ${words(key)} away`, onclick: () => unset(path) }, "×")),
    el("p", { class: "hint", id: hint }, help(schema, key)), faults, offer_alike(path), source(path, value));
}

/** A list of values, or of rows of values. */
function list(path, value) {
  const rows = value.map((row) => (Array.isArray(row) ? row : [row])), flat = !Array.isArray(value[0]);
  const schema = schema_at(path), item = resolved(schema.anyOf ? schema.anyOf.map(resolved).find((o) => o.type === "array")?.items : schema.items);
  const heads = (item?.prefixItems ?? []).map((p) => single(p).description);
  const faults = fault_lines(path, fresh("fault"));
  const where = (i, j) => (flat ? [...path, i] : [...path, i, j]);
  return el("fieldset", { class: faults ? "field bad" : "field" }, el("legend", {}, words(path[path.length - 1])),
    heads.length ? el("p", { class: "hint" }, heads.join(" | ")) : null,
    rows.map((row, i) => el("div", { class: "row" },
      row.map((cell, j) => control(where(i, j), cell, schema_at(where(i, j)), fresh("cell"), null,
        store.seen.faults.some((f) => same(f.path, where(i, j))), `${words(path[path.length - 1])}, row ${i + 1}, ${heads[j] ?? "value"}`)),
      el("button", { type: "button", class: "small", "aria-label": `Take row ${i + 1} away`, onclick: () => unset([...path, i]) }, "×")),
    ),
    el("button", { type: "button", class: "quiet-button", onclick: () => set(path, [...value, value[value.length - 1]]) }, "Add a row"),
    faults, store.seen.faults.filter((f) => starts(f.path, path) && !same(f.path, path)).map((f) => fault_lines(f.path, fresh("fault"))));
}

/** Tables in a table: events of a scenario, steps of a shutdown. */
function tables(path, value) {
  const key = path[path.length - 1];
  const title = (t, i) => [t.at, ["close", "open", "move", "stop", "start", "trip"].map((k) => t[k] && `${k} ${t[k]}`).find(Boolean)].filter(Boolean).join(": ") || `${words(key)} ${i + 1}`;
  return el("div", { class: "group" }, value.map((t, i) => {
    const broken = store.seen.faults.some((f) => starts(f.path, [...path, i]));
    return el("details", { class: "sub", open: broken || value.length < 3 }, el("summary", {}, `${words(key)} ${i + 1}: ${title(t, i)}`),
      table([...path, i], t, { bare: true }),
      el("button", { type: "button", class: "quiet-button", onclick: () => unset([...path, i]) }, `Take this ${words(key)} out`));
  }), el("button", { type: "button", class: "quiet-button", onclick: () => change([{ do: "add", path, values: value[value.length - 1] ?? {} }]) },
    `Add ${/^[aeiou]/.test(key) ? "an" : "a"} ${words(key)}`));
}

/** The keys of one table: those that it has, those that it lacks, and a choice of others. */
function table(path, value, { bare = false } = {}) {
  const schema = schema_at(path), properties = schema.properties ?? {};
  const missing = store.seen.faults.filter((f) => f.path.length === path.length + 1 && starts(f.path, path)).map((f) => f.path[path.length])
    .filter((key) => !(key in value) && key in properties);
  const wanted = (schema.required ?? []).filter((key) => !(key in value));
  // Between which points a part stands is seldom changed: it comes last.
  const keys = [...new Set([...Object.keys(value), ...missing, ...wanted])].sort((a, b) => POINT_KEYS.includes(a) - POINT_KEYS.includes(b));
  const other = Object.keys(properties).filter((key) => !keys.includes(key) && !(path.length === 0));
  const own = fault_lines(path, fresh("fault"));
  const add = fresh("add");
  const free = schema.additionalProperties && typeof schema.additionalProperties === "object";
  const content = [own, keys.map((key) => field([...path, key], value[key], { required: (schema.required ?? []).includes(key) })),
    other.length ? el("div", { class: "field add" }, el("label", { for: add }, "Add a figure"),
      el("select", { id: add, onchange: (e) => begin_field(path, e.target.value) }, el("option", { value: "" }, "choose"),
        other.map((key) => el("option", { value: key }, words(key))))) : null,
    free && !bare ? named_adder(path, value, schema) : null];
  if (bare || path.length <= 1 || path[0] === "points" || typeof path[path.length - 1] === "number") return content;
  return el("fieldset", { class: "field" }, el("legend", {}, words(path[path.length - 1])), content,
    el("button", { type: "button", class: "quiet-button", onclick: () => unset(path) }, `Take ${words(path[path.length - 1])} out`));
}

function named_adder(path, value, schema) {
  const key = path[path.length - 1], { data } = store.seen;
  const of = (kind) => (Array.isArray(data[kind]) ? data[kind].map((t) => t.name) : []);
  const names = { levels: of("tank"), openings: of("valve"), trapped_pressure: Object.keys(data.points ?? {}),
    fittings: [] }[key]?.filter((name) => !(name in value));
  if (!names?.length) return null;
  const id = fresh("add");
  const first = single(resolved(schema.additionalProperties)).examples?.[0] ?? 1;
  return el("div", { class: "field add" }, el("label", { for: id }, `Add to ${words(key)}`),
    el("select", { id, onchange: (e) => e.target.value && set([...path, e.target.value], first) }, el("option", { value: "" }, "choose"),
      names.map((n) => el("option", { value: n }, n))));
}

/** Begin a key with a value of its kind, which is then to be changed. */
function begin_field(path, key) {
  if (!key) return;
  const schema = schema_at([...path, key]), one = single(schema);
  let value = one.examples?.[0] ?? one.enum?.[0] ?? (one.type === "boolean" ? true : one.type === "number" ? Math.max(one.minimum ?? 0, Math.min(1, one.maximum ?? 1)) : "");
  if (one.format === "date") value = { day: new Date().toISOString().slice(0, 10) };
  if (schema.type === "array") value = [first_of(resolved(schema.items))];
  if (schema.type === "object") {
    value = schema.properties ? Object.fromEntries((schema.required ?? []).map((k) => [k, first_of(resolved(schema.properties[k]))])) : {};
    if (!schema.properties) { named_first(path, key, schema); return; }
  }
  focus_next = JSON.stringify([...path, key]);
  if (["event", "step", "shutdown"].includes(key)) change(key === "shutdown" ? [{ do: "set", path: [...path, key], value }] : [{ do: "add", path: [...path, key], values: value[0] }]);
  else set([...path, key], value);
}

function named_first(path, key, schema) {
  const { data } = store.seen;
  const name = { levels: data.tank?.[0]?.name, openings: data.valve?.[0]?.name, trapped_pressure: Object.keys(data.points ?? {})[0],
    fittings: "long-radius elbow", not_at: "start" }[key];
  if (name) set([...path, key, name], single(resolved(schema.additionalProperties)).examples?.[0] ?? 1);
}

function first_of(schema) {
  const one = single(schema);
  if (one.prefixItems) return one.prefixItems.map((p) => first_of(resolved(p)));
  if (one.type === "array") return [first_of(resolved(one.items))];
  if (one.type === "object") return Object.fromEntries((one.required ?? []).map((k) => [k, first_of(resolved(one.properties[k]))]));
  return one.examples?.[0] ?? one.enum?.[0] ?? (one.type === "boolean" ? true : one.type === "number" ? 1 : "new");
}

// The form of what is chosen

let focus_next = null, drawn_of = null, waits = false;

/** Whether somebody is typing in the form: what is drawn anew would take the words away. */
function typing() {
  const field = document.activeElement;
  return by("form").contains(field) && field.shown !== undefined && field.value !== field.shown;
}

function title_of(path) {
  if (path[0] === "points") return `Point ${path[1]}`;
  const setting = SETTINGS.find(([key]) => key === path[0]);
  if (setting) return setting[1];
  return `${words(path[0])[0].toUpperCase()}${words(path[0]).slice(1)} ${at([...path, "name"]) ?? ""}`;
}

function figures(path) {
  if (store.answered !== store.text || !store.answer) return null;
  const name = path[0] === "points" ? path[1] : at([...path, "name"]);
  const subject = path[0] === "points" ? "place" : "element";
  const own = store.answer.summary.parts.filter((p) => p.subject === subject && p.name === name);
  if (!own.length) return null;
  return el("div", { class: "figures" }, own.map((p) => el("p", {}, el("strong", {}, `${p.check} ${p.pressure}`), ` ${store.answer.summary.unit}${p.time === "-" ? "" : ` at ${p.time}`}`,
    p.scenario && `, in ${p.scenario}`, `; limit ${p.limit} (${p.limit_source}), ${p.short}`)));
}

function actions(path) {
  if (path[0] === "points") return point_actions(path[1]);
  if (path.length < 2) return null;
  const between = KINDS.includes(path[0]), id = fresh("kind");
  const kinds = el("select", { id, "aria-label": "Kind of the part to put in" }, KINDS.map((k) => el("option", { value: k }, words(k))));
  return el("div", { class: "actions" },
    between && el("div", { class: "row" }, el("label", { for: id }, "Put in behind it"), kinds,
      el("button", { type: "button", onclick: () => change([{ do: "insert", kind: kinds.value, values: { name: words(kinds.value), ...FIRST[kinds.value] }, after: path }]) }, "Put in")),
    between && el("button", { type: "button", onclick: () => change([{ do: "repeat", path }]) }, "One more beside it"),
    path.length === 2 && path[0] !== "points" && el("button", { type: "button", class: "danger", onclick: () => take_out(path) }, "Take it out"));
}

/** A name that nothing has yet. */
function free(wanted, taken) {
  let name = wanted;
  for (let n = 2; taken.includes(name); n += 1) name = `${wanted} ${n}`;
  return name;
}

function stand_here(kind, point) {
  const { data } = store.seen, names = Object.values(data).flatMap((list) => (Array.isArray(list) ? list.map((t) => t?.name) : []));
  if (kind !== "branch") return change([{ do: "add", path: [kind], values: { name: free(words(kind), names), at: point, ...THINGS[kind] } }]);
  const end = free(`${point} branch end`.slice(0, 60), Object.keys(data.points ?? {}));
  return change([{ do: "set", path: ["points", end], value: { same_elevation_as: point, closed: true } },
    { do: "add", path: ["pipe"], values: { name: free("branch", names), from: point, to: end, ...FIRST.pipe } }]);
}

function point_actions(point) {
  const id = fresh("kind"), kinds = el("select", { id }, Object.keys(THINGS).map((k) => el("option", { value: k }, words(k))), el("option", { value: "branch" }, "branch with a closed end"));
  return el("div", { class: "actions" }, el("div", { class: "row" }, el("label", { for: id }, "Put here"), kinds,
    el("button", { type: "button", onclick: () => stand_here(kinds.value, point) }, "Put")));
}

function take_out(path) {
  choose(null);
  change([{ do: path[0] === "scenario" ? "unset" : "remove", path }]);
}

function point_form(path) {
  const id = fresh("field");
  return [el("div", { class: "field" }, el("label", { for: id }, "name"),
    el("input", { id, type: "text", value: path[1], onchange: (e) => { const name = e.target.value; rename(path, name).then(() => at(["points", name]) && choose(["points", name])); } }))];
}

function draw_form(focus = false) {
  const { chosen } = store, head = by("inspector-head"), holder = by("form");
  waits = same(chosen, drawn_of) && focus_next === null && !focus && typing();
  if (waits) return;
  drawn_of = chosen;
  const active = holder.contains(document.activeElement) ? document.activeElement : null;
  const wanted = focus_next, focused = wanted ?? active?.getAttribute("data-path");
  const selected = [active?.selectionStart, active?.selectionEnd];
  focus_next = null;
  if (!chosen || (at(chosen) === undefined && typeof chosen[1] === "number")) {
    head.textContent = "Figures";
    put(holder, el("p", { class: "quiet" }, "Choose a part of the drawing, or one of the settings below it."));
    return;
  }
  head.textContent = title_of(chosen);
  const value = at(chosen) ?? {};
  put(holder, figures(chosen), chosen[0] === "points" ? point_form(chosen) : null,
    chosen[0] === "title" ? [field(["title"], at(["title"]), { required: true }), field(["note"], at(["note"]) ?? "")]
      : typeof value === "object" ? table(chosen, value) : el("p", {}, "This is no table: see the text of the case."), actions(chosen));
  const again = focused && [...holder.querySelectorAll("[data-path]")].find((f) => f.getAttribute("data-path") === focused);
  if (!again) { if (focus) head.focus(); return; }
  again.focus();
  // What was selected when Tab came is typed over; so is a figure that is only the first of its kind.
  if (wanted !== null) again.select?.();
  else if (typeof selected[0] === "number") again.setSelectionRange?.(...selected);
}

// Settings, scenarios, faults

function draw_settings() {
  const { data, faults } = store.seen;
  const button = (path, name) => el("button", { type: "button", class: "chip", "aria-pressed": store.chosen && same(store.chosen, path) ? "true" : "false",
    onclick: () => choose(path) }, name, faults.some((f) => starts(f.path, path)) && el("span", { class: "badge" }, " has a fault"));
  const stages = Array.isArray(data.stage) ? data.stage : [];
  const scenarios = Array.isArray(data.scenario) ? data.scenario : [], readings = Array.isArray(data.reading) ? data.reading : [];
  put(by("settings"), SETTINGS.map(([key, name]) => button([key], name)),
    stages.map((s, i) => button(["stage", i], `Stage: ${s.name ?? i + 1}`)),
    scenarios.map((s, i) => button(["scenario", i], `Scenario: ${s.name ?? i + 1}`)),
    readings.map((r, i) => button(["reading", i], `Reading: ${r.at ?? i + 1}`)),
    el("button", { type: "button", class: "chip add", onclick: () => add_scenario() }, "+ scenario"),
    el("button", { type: "button", class: "chip add", onclick: () => add_reading() }, "+ gauge reading"));
}

async function add_scenario() {
  const { data } = store.seen, valve = data.valve?.find((v) => v.adjustable)?.name ?? data.valve?.[0]?.name ?? "valve";
  const names = new Set((data.scenario ?? []).map((s) => s.name));
  let name = "new scenario";
  for (let n = 2; names.has(name); n += 1) name = `new scenario ${n}`;
  await change([{ do: "add", path: ["scenario"], values: { name, event: [{ at: "5 s", close: valve, stroke: "20 s", law: "linear" }] } }]);
  choose(["scenario", (store.seen.data.scenario ?? []).length - 1], { focus: true });
}

async function add_reading() {
  const { data } = store.seen;
  await change([{ do: "add", path: ["reading"], values: { at: Object.keys(data.points ?? { "": 0 })[0], pressure: "2 bar(g)", rate: data.rate?.agreed ?? "600 m3/h" } }]);
  choose(["reading", (store.seen.data.reading ?? []).length - 1], { focus: true });
}

/** The path of the table that the form shows for a fault. */
function form_of(path) {
  if (path.length >= 2 && (typeof path[1] === "number" || path[0] === "points")) return path.slice(0, 2);
  if (path[0] === "note") return ["title"];
  return path.length && SETTINGS.some(([key]) => key === path[0]) ? [path[0]] : null;
}

function draw_faults() {
  const { faults } = store.seen;
  by("faults").hidden = !faults.length;
  by("faults-head").textContent = faults.length === 1 ? "1 fault: nothing is calculated" : `${faults.length} faults: nothing is calculated`;
  put(by("fault-list"), faults.map((f) => {
    const to = form_of(f.path);
    return el("li", {}, to ? el("button", { type: "button", class: "link", onclick: () => { choose(to); focus_next = JSON.stringify(f.path); draw_form(); by("inspector").scrollIntoView({ block: "nearest" }); } }, f.key || "text") : el("strong", {}, f.key || "text"),
      ` (line ${f.line}): found ${f.found}; expected ${f.expected}; write: ${f.remedy}.`);
  }));
}

/** Draw whenever something changes. */
export function begin_forms() {
  by("form").addEventListener("focusout", () => setTimeout(() => waits && draw_form()));
  on("text", () => { draw_form(); draw_settings(); draw_faults(); });
  on("chosen", (focus) => { draw_form(focus); draw_settings(); });
  on("answer", () => draw_form());
}
