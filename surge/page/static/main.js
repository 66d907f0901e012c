// The page: what is open, what is asked and when, what is told.

import { begin_agreement } from "./agree.js";
import { begin_sliders, drag_scenario } from "./drag.js";
import { by, el, fresh, later, put, released } from "./dom.js";
import { begin_film } from "./film.js";
import { begin_forms } from "./forms.js";
import { begin_order, order_of } from "./order.js";
import { begin_records } from "./records.js";
import { TAB, ask, give_up, post } from "./server.js";
import { begin_sketch } from "./sketch.js";
import { begin, on, open, redo, replace, save, store, tell, undo } from "./store.js";
import { begin_chart, clear_chart, show_histories, show_look } from "./time.js";
import { no_verdict, outdated, show_verdict } from "./verdict.js";

const LOOKED_AFTER = 4000; // [ms] between two looks whether the file has changed outside
let scenario = "", place = "";

// Messages

function message(text, kind = "trouble", actions = []) {
  const made = el("div", { class: `message ${kind}` }, el("p", {}, text), ...actions,
    el("button", { type: "button", class: "small", "aria-label": "Close this message", onclick: () => made.remove() }, "×"));
  const there = [...by("messages").children].find((m) => m.firstChild.textContent === text);
  if (!there) by("messages").append(made);
  return made;
}

// The answer

const QUICK = "Quick look, no verdict";
let patient = ""; // the text for which somebody will wait as long as it takes

async function check() {
  const { text, name, seen } = store;
  by("again").hidden = true;
  if (seen.faults.length) {
    give_up("answer");
    give_up("remedies");
    working("");
    no_verdict("No verdict", seen.faults.length === 1 ? "The case has a fault, so that nothing is calculated. It stands below, and at its field." : `The case has ${seen.faults.length} faults, so that nothing is calculated. They stand below, and at their fields.`);
    return;
  }
  if (store.answered === text) return;
  no_verdict("Checking …", "The figures have changed; the verdict comes from the full run.");
  working("checking every scenario");
  give_up("remedies");
  try {
    const answer = await ask("answer", { do: "check", name, text, patient: patient === text }, working);
    await released();
    if (!answer || text !== store.text) return;
    working("");
    if (answer.refused) {
      const longer = /--patient/.test(answer.refused.text);
      if (longer) once_more("Take the time", () => { patient = text; });
      no_verdict(answer.refused.exit_code === 4 ? "Cannot be decided" : "No verdict", longer ? "This would take minutes of work. Take the time, or make the case smaller: fewer scenarios or ranges." : answer.refused.text);
      return;
    }
    store.answer = answer;
    store.answered = text;
    put(by("remedies"));
    if (remedies_lack()) remedies_soon(text, name);
    if (!store.dragging) await show_answer();
  } catch (error) {
    working("");
    no_verdict("No verdict", error.message);
  }
}

/** Show the answer to the text as it stands. */
async function show_answer() {
  by("sketch").classList.remove("looking");
  by("look").hidden = true;
  show_verdict(store.answer);
  outdated(false);
  draw_choices();
  tell("answer");
  await histories();
}

// Whoever goes on changing figures does not want to know yet.
const remedies_soon = later(1200, (text, name) => text === store.text && !store.dragging && remedies(text, name));
const remedies_lack = () => store.answer.document.verdict !== "limit kept" && !store.answer.document.remedies;

/** What mends a case that is not kept: it takes several times as long as the check. */
async function remedies(text, name) {
  put(by("remedies"), el("p", { class: "quiet" }, "Trying what mends it …"));
  try {
    const answer = await ask("remedies", { do: "check", name, text, remedies: true },
      (word) => put(by("remedies"), el("p", { class: "quiet" }, `Trying what mends it: ${word}`)));
    if (!answer || answer.refused || text !== store.text) { put(by("remedies"), answer?.refused ? el("p", {}, answer.refused.text) : null); return; }
    put(by("remedies"));
    store.answer = { ...answer };
    if (!store.dragging) show_verdict(answer);
  } catch (error) {
    put(by("remedies"), el("p", {}, error.message));
  }
}

/** Offer to check once more. */
function once_more(words, before = () => {}) {
  const button = by("again");
  button.hidden = false;
  button.textContent = words;
  button.onclick = () => { before(); check(); };
}

function working(word) {
  by("work").hidden = !word;
  by("progress").textContent = word;
}

/** Controls of another scenario. */
function of_scenario(name) {
  drag_scenario(name);
  order_of(name);
}

async function histories() {
  const { text, name } = store;
  if (store.answered !== text) return;
  const found = await ask("answer", { do: "histories", name, text, scenario: scenario || null, places: place ? [place] : [] });
  if (!found || text !== store.text) return;
  by("look").hidden = true;
  if (found.refused) { clear_chart(found.refused.text); return; }
  store.watched = found.traces[0]?.name ?? null;
  if (!scenario) {
    by("scenario").value = found.scenario;
    of_scenario(found.scenario);
  }
  show_histories({ ...found, worst: found.scenario === store.answer.summary.scenarios[0]?.name });
}

function draw_choices() {
  const { scenarios } = store.answer;
  if (!scenarios.includes(scenario)) scenario = "";
  const worst = store.answer.summary.scenarios[0]?.name ?? scenarios[0];
  put(by("scenario"), scenarios.map((s) => el("option", { value: s, selected: s === (scenario || worst) }, s)));
  const { drawing } = store.seen;
  const names = [...drawing.elements.map((e) => e.name), ...Object.keys(drawing.points)];
  if (!names.includes(place)) place = "";
  put(by("place"), el("option", { value: "" }, "no other place"),
    el("optgroup", { label: "parts" }, drawing.elements.map((e) => el("option", { value: e.name, selected: e.name === place }, e.name))),
    el("optgroup", { label: "points" }, Object.keys(drawing.points).map((p) => el("option", { value: p, selected: p === place }, p))));
}

const check_soon = later(250, check);

// Files

function draw_file() {
  const dirty = store.text !== store.saved;
  const names = [...new Set([...store.start.cases, ...(store.name ? [store.name] : [])])];
  put(by("case"), store.name ? null : el("option", { value: "" }, "choose"), names.map((n) => el("option", { value: n, selected: n === store.name }, n)));
  by("undo").disabled = !store.past.length;
  by("redo").disabled = !store.future.length;
  by("save").disabled = !dirty || !store.name;
  by("saved").textContent = !store.name ? "" : dirty ? "not saved" : "saved";
  by("title").textContent = store.seen.data.title ?? store.name;
  by("toml").textContent = store.text;
  document.title = `${dirty ? "• " : ""}${store.name} — surge`;
}

async function save_now() {
  try {
    await save();
    message_gone("changed outside");
  } catch (error) {
    if (error.there) changed_outside(error.there);
    else message(error.message);
  }
}

const message_gone = (word) => { for (const m of [...by("messages").children]) if (m.textContent.includes(word)) m.remove(); };

function changed_outside(there) {
  if ([...by("messages").children].some((m) => m.textContent.includes("changed outside"))) return;
  const made = message(`${store.name} was changed outside. Nothing is lost: choose what is to stand.`, "trouble", [
    el("button", { type: "button", onclick: async () => { made.remove(); await replace(there.text); store.saved = there.text; store.over = there.sha256; draw_file(); } }, "Take what stands in the file"),
    el("button", { type: "button", onclick: async () => { made.remove(); store.over = there.sha256; await save_now(); } }, "Write mine over it"),
    el("button", { type: "button", onclick: () => { made.remove(); save_as(); } }, "Save mine under another name")]);
}

async function look_outside() {
  if (!store.name || !store.over || document.hidden) return;
  try {
    const { sha256 } = await post("seen", { name: store.name });
    if (!sha256 || sha256 === store.over) return;
    const found = await post("open", { name: store.name });
    if (store.text === store.saved) { await replace(found.text); store.saved = found.text; store.over = found.sha256; draw_file(); message(`${store.name} was changed outside, and is shown as it stands now. Undo shows it as it was.`, "told"); }
    else changed_outside({ text: found.text, sha256: found.sha256 });
  } catch { /* the server is away: whoever asks for something is told */ }
}

function ask_in_dialog(head, fields, action, accept) {
  const dialog = by("dialog");
  const said = el("p", { class: "fault", role: "alert" });
  put(dialog, el("form", { method: "dialog", onsubmit: async (event) => {
    event.preventDefault();
    const given = Object.fromEntries(new FormData(event.target));
    try { await accept(given); dialog.close(); } catch (error) { said.textContent = error.message; }
  } }, el("h2", { id: "dialog-head" }, head), fields, said,
  el("div", { class: "actions" }, el("button", { type: "submit", class: "primary" }, action), el("button", { type: "button", onclick: () => dialog.close() }, "Leave it"))));
  dialog.showModal();
}

const labelled = (label, made, hint) => { const id = fresh("ask"); made.id = id; return el("div", { class: "field" }, el("label", { for: id }, label), made, hint && el("p", { class: "hint" }, hint)); };

function free_name(stem) {
  let name = `${stem}.toml`;
  for (let n = 2; store.start.cases.includes(name); n += 1) name = `${stem}-${n}.toml`;
  return name;
}

async function is_free(name) {
  const { sha256 } = await post("seen", { name });
  if (sha256 || store.start.cases.includes(name)) throw new Error(`There is a ${name} already: choose another name.`);
}

function new_case() {
  const cargoes = store.start.known["liquid.cargo"] ?? [];
  ask_in_dialog("New case", [
    labelled("Name of its file", el("input", { name: "name", value: free_name("my-berth"), required: true })),
    labelled("Loading arms", el("input", { name: "arms", type: "number", min: 1, max: 8, value: 2 }), "each with its manifold valve, 1 to 8"),
    labelled("Tanks of the ship", el("input", { name: "tanks", type: "number", min: 1, max: 24, value: 4 }), "loaded together, 1 to 24"),
    labelled("How the cargo gets down", el("select", { name: "through" }, store.start.through.map((t) => el("option", { value: t }, t)))),
    labelled("Cargo", el("select", { name: "cargo" }, cargoes.map((c) => el("option", { value: c.value, selected: c.value === "gas oil" }, c.value)))),
    el("p", { class: "hint" }, "All figures are invented, of a usual size. Put in your own: an answer holds for what stands there."),
  ], "Begin", async (given) => {
    await is_free(given.name);
    const { text } = await post("new", { arms: Number(given.arms), tanks: Number(given.tanks), through: given.through, cargo: given.cargo });
    await begin(given.name, text);
    opened();
  });
}

function save_as() {
  ask_in_dialog("Save under another name", [labelled("Name of its file", el("input", { name: "name", value: free_name(store.name.replace(/\.toml$/, "")), required: true }))], "Save",
    async ({ name }) => { await is_free(name); const mine = store.text; await post("draft", { name: store.name, tab: TAB, text: null }); await begin(name, mine); await save(); opened(); });
}

function opened() {
  by("main").hidden = false;
  history.replaceState(null, "", `#${encodeURIComponent(store.name)}`);
  scenario = "";
  place = "";
  put(by("scenario")); // of another case
  put(by("place"));
  store.answer = null;
  store.answered = "";
  draw_file();
}

async function open_case(name) {
  try {
    await open(name);
    opened();
  } catch (error) {
    message(error.message);
    draw_file();
  }
}

// Keys and buttons

function keys(event) {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const typing = event.target.matches?.("input:not([type=range]), textarea");
  const key = event.key.toLowerCase();
  if (key === "s") { event.preventDefault(); document.activeElement?.blur?.(); save_now(); }
  else if (key === "z" && !typing) { event.preventDefault(); (event.shiftKey ? redo : undo)(); }
  else if (key === "y" && !typing) { event.preventDefault(); redo(); }
}

function buttons() {
  by("undo").onclick = undo;
  by("redo").onclick = redo;
  by("save").onclick = save_now;
  by("new").onclick = new_case;
  by("case").onchange = (event) => open_case(event.target.value);
  by("give-up").onclick = () => { give_up("answer"); working(""); no_verdict("Given up", "There is no verdict for these figures."); once_more("Check again"); };
  by("scenario").onchange = (event) => { scenario = event.target.value; of_scenario(scenario); histories(); tell("scenario", scenario); };
  by("place").onchange = (event) => { place = event.target.value; histories(); };
  document.addEventListener("keydown", keys);
  addEventListener("hashchange", () => { const name = named(); if (store.start.cases.includes(name) && name !== store.name) open_case(name); });
}

on("text", () => {
  by("sketch").classList.remove("looking");
  draw_file();
  const old = store.answered !== store.text;
  outdated(old);
  // From here on the last verdict is that of other figures.
  if (old) no_verdict(store.seen.faults.length ? "No verdict" : "Checking …", "The figures have changed; the verdict comes from the full run.");
  else if (store.answer) show_verdict(store.answer);
  check_soon();
});
on("saved", () => { draw_file(); by("saved").textContent = "saved"; });
on("trouble", (text, kind, actions = []) => message(text, kind, actions.map(([words, onclick]) => el("button", { type: "button", onclick }, words))));
on("look", (found) => {
  const note = by("look");
  if (by("headline").textContent !== QUICK) looking();
  if (found.refused) { note.textContent = `Quick look: ${found.refused.text.split("\n")[0]}`; return; }
  const worst = found.peaks.filter((p) => p.limit).sort((a, b) => b.pressure / b.limit - a.pressure / a.limit)[0];
  note.textContent = `${found.words}: ${worst ? `${worst.name} up to ${worst.pressure.toFixed(2)} ${found.unit}, limit ${worst.limit.toFixed(2)}` : ""}${found.boils !== null ? `; the cargo boils at ${found.boils.toFixed(1)} s` : ""}`;
  show_look({ ...found, of: worst?.name });
});

on("back", () => {
  if (store.answered !== store.text) check();
  else {
    show_answer();
    if (remedies_lack()) remedies_soon(store.text, store.name);
  }
});

/** What stands on the page is of other figures, until the full run has told. */
function looking() {
  for (const purpose of ["answer", "remedies"]) give_up(purpose); // a hand on a slider comes first
  working("");
  put(by("remedies"));
  by("look").hidden = false;
  outdated(true);
  by("sketch").classList.add("looking");
  no_verdict(QUICK, "Let go of the slider: the full run tells the verdict.");
}

/** The case that the address names. */
function named() {
  try {
    return decodeURIComponent(location.hash.slice(1));
  } catch {
    return ""; // half a character
  }
}

async function start() {
  try {
    store.start = await post("start");
  } catch (error) {
    message(error.message);
    return;
  }
  begin_sketch();
  begin_forms();
  begin_sliders();
  begin_order();
  begin_chart();
  begin_film();
  begin_agreement();
  begin_records();
  buttons();
  draw_file();
  setInterval(look_outside, LOOKED_AFTER);
  addEventListener("focus", look_outside);
  const name = named() || store.start.case;
  if (name) await open_case(name);
  else if (store.start.cases.length === 1) await open_case(store.start.cases[0]);
  else if (!store.start.cases.length) new_case();
  document.documentElement.dataset.ready = "yes";
}

start();
