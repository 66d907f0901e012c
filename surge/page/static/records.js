// Stroke times of valves from a spreadsheet: dropped, understood, judged.

import { by, el, fresh, put } from "./dom.js";
import { ask } from "./server.js";

const MEANINGS = ["tag", "direction", "date", "time of day", "time", "closing time", "opening time", "timed", "delay", "temperature",
  "pressure", "together", "flowing", "by", "remark", "repeat"];
let file = null, result = null;
const how = { dates: "", decimal: "", timed: "", columns: [] };

async function judge() {
  if (!file) return;
  put(result, el("p", { class: "quiet" }, `Reading ${file.name} …`));
  const given = { file: file.name };
  for (const key of ["dates", "decimal", "timed"]) if (how[key]) given[key] = how[key];
  for (const { title, meaning } of how.columns) if (title && meaning) given[`column.${title}`] = meaning;
  try {
    const found = await ask("records", given, (word) => put(result, el("p", { class: "quiet" }, word)), file);
    if (!found) return;
    if (found.refused) { put(result, el("p", { class: "fault" }, el("pre", { class: "plain" }, found.refused.text)), corrections()); return; }
    put(result, el("h3", {}, file.name), el("pre", { class: "mono", tabindex: 0 }, found.text),
      el("h3", {}, "How the table was understood"), el("ul", { id: "understood" }, found.notes.map((n) => el("li", {}, n))), corrections(),
      found.pictures.map((p, i) => el("img", { class: "history", src: `data:image/png;base64,${p}`, alt: `Test histories of the valves, page ${i + 1}; the table above has the same in words` })),
      el("details", {}, el("summary", {}, "Every valve"), el("pre", { class: "mono", tabindex: 0 }, found.details)));
  } catch (error) {
    put(result, el("p", { class: "fault" }, error.message));
  }
}

function choice(label, key, options) {
  const id = fresh("how");
  return el("div", { class: "field" }, el("label", { for: id }, label),
    el("select", { id, onchange: (e) => { how[key] = e.target.value; judge(); } }, el("option", { value: "" }, "as the table shows"),
      options.map((o) => el("option", { value: o, selected: how[key] === o }, o))));
}

function corrections() {
  const title = el("input", { type: "text", "aria-label": "Title of a column" }), meaning = el("select", { "aria-label": "What the column means" }, MEANINGS.map((m) => el("option", { value: m }, m)));
  return el("details", {}, el("summary", {}, "Correct how it is read"),
    choice("Days", "dates", ["day-first", "month-first"]), choice("Decimal sign", "decimal", ["point", "comma"]), choice("Times counted from", "timed", ["order", "movement"]),
    el("div", { class: "field" }, el("p", { class: "hint" }, "The title of a column as it stands in the table, and what it means"), el("div", { class: "row" }, title, meaning,
      el("button", { type: "button", onclick: () => { how.columns = [...how.columns.filter((c) => c.title !== title.value), { title: title.value, meaning: meaning.value }]; judge(); } }, "Read it so"))));
}

function take(given) {
  if (!given) return;
  file = given;
  how.columns = [];
  judge();
}

export function begin_records() {
  const id = fresh("file");
  result = el("div", {});
  const input = el("input", { type: "file", id, accept: ".csv,.xlsx,text/csv", onchange: (e) => take(e.target.files[0]) });
  const zone = el("div", { class: "drop" }, el("label", { for: id }, "Drop a table of stroke times here (CSV or XLSX), or choose it"), input);
  zone.addEventListener("dragover", (e) => { e.preventDefault(); zone.classList.add("over"); });
  zone.addEventListener("dragleave", () => zone.classList.remove("over"));
  zone.addEventListener("drop", (e) => { e.preventDefault(); zone.classList.remove("over"); take(e.dataTransfer.files[0]); });
  put(by("table"), zone, result);
}
