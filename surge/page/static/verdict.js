// The verdict at the top, what to do, and the peak table. A verdict is only ever that of a full run of this text.

import { by, el, put } from "./dom.js";
import { change, choose, store } from "./store.js";

const MARK = { "limit kept": "✓", "limit exceeded": "!", "cannot be decided": "?" };
const FEW = 14;
let all = false;

function stand(kind, mark, headline, sentence, counted) {
  const band = by("verdict");
  band.className = `verdict ${kind}`;
  band.querySelector(".mark").textContent = mark;
  by("headline").textContent = headline;
  by("sentence").textContent = sentence;
  by("counted").textContent = counted;
}

/** Say that there is no verdict, and why. */
export function no_verdict(headline, sentence = "", counted = "") {
  stand("none", "…", headline, sentence, counted);
}

/** Words of the command line and of the file, as the page calls them. */
const of_page = (words) => words.replaceAll("--details", "see the whole answer below").replaceAll("[[reading]]", "gauge reading");

/** Show the answer of a full run. */
export function show_verdict(answer) {
  const told = answer.summary;
  const words = told.headline[0] + told.headline.slice(1).toLowerCase();
  stand(`is-${told.verdict.replaceAll(" ", "-")}`, MARK[told.verdict], words, told.sentence, told.counted);
  // What mends a case that is not kept is tried after the verdict.
  const tried = told.verdict === "limit kept" || answer.document.remedies;
  put(by("steps"), tried ? told.steps.map((step) => el("li", {}, step, take_button(answer, told.remedies.findIndex((one) => step.endsWith(one))))) : []);
  put(by("notes"), told.notes.map((note) => el("li", {}, of_page(note))),
    told.assumed.length ? el("li", { class: "more" }, el("details", {}, el("summary", {}, `${told.assumed.length} figures that the case does not give`), el("ul", {}, told.assumed.map((a) => el("li", {}, a))))) : null);
  by("cautions").textContent = told.cautions.join(" ");
  by("signature").textContent = answer.signature;
  by("details").textContent = answer.details;
  peaks(told);
}

/** A remedy becomes changes of the case; the full run then tells the verdict. */
function take_button(answer, index) {
  const changes = answer.takes[index];
  return changes?.length ? el("button", { type: "button", class: "quiet-button", onclick: () => change(changes) }, "Take it") : null;
}

function part_path(part) {
  if (part.subject === "place") return ["points", part.name];
  const e = store.seen.drawing.elements.find((one) => one.name === part.name);
  return e ? [e.kind, e.index] : null;
}

function bar(part) {
  const share = Math.max(0, Math.min(part.used, 1.25)) / 1.25;
  const made = el("span", { class: "used", "aria-hidden": "true" }, el("span", {}));
  made.firstChild.style.width = `${(100 * share).toFixed(1)}%`;
  return made;
}

function peaks(told) {
  const head = ["part", "verdict", `pressure, ${told.unit}`, "limit", "margin", "scenario", "when and where"];
  const rows = all ? told.parts : told.parts.slice(0, FEW);
  const body = rows.map((p) => {
    const to = part_path(p);
    const name = p.subject === "place" ? `point ${p.name}` : p.name;
    return el("tr", { class: `is-${p.verdict.replaceAll(" ", "-")}` },
      el("th", { scope: "row" }, to ? el("button", { type: "button", class: "link", onclick: () => choose(to, { focus: true }) }, name) : name),
      el("td", { class: "verdict-word" }, `${MARK[p.verdict]} ${p.short}`),
      el("td", { class: "number" }, `${p.check} ${p.pressure}`, bar(p)),
      el("td", { class: "number", title: p.limit_source }, p.limit),
      el("td", { class: "number" }, p.margin),
      el("td", {}, p.scenario || "before any"),
      el("td", {}, [p.time === "-" ? "" : p.time, p.place, p.reason].filter(Boolean).join(", ")));
  });
  put(by("peaks"), el("table", { class: "table" }, el("caption", {}, el("span", {}, `Peak table: the worst of each part${store.seen.data.filling?.length ? " in the scenarios" : ""}, the nearest to its limit first`)),
    el("thead", {}, el("tr", {}, head.map((h) => el("th", { scope: "col" }, h)))), el("tbody", {}, body)),
    told.parts.length > FEW ? el("button", { type: "button", class: "quiet-button", onclick: () => { all = !all; peaks(told); } },
      all ? "Show fewer" : `Show all ${told.parts.length}`) : null);
}

/** Grey out what belongs to other figures than those that stand in the case now. */
export function outdated(yes) {
  for (const id of ["peaks", "advice", "film", "agreement"]) by(id).classList.toggle("old", yes);
}
