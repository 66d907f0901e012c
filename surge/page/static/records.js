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
    if (found.refused) { put(result, el("p", { class: "fault" }, el("pre", { class: "plain" }, found.refused.text)), corrections(true)); return; }
    put(result, el("h3", {}, file.name), el("pre", { class: "mono", tabindex: 0 }, found.text),
      el("h3", {}, "How the table was understood"), columns(found.columns), el("ul", { id: "understood" }, found.notes.map((n) => el("li", {}, n))), corrections(),
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

/** Say what a column means, and read the table again. */
function read_so(title, meaning) {
  how.columns = [...how.columns.filter((c) => c.title !== title), { title, meaning }];
  judge();
}

/** Every column with what it was taken for: a choice, so that it can be put right where it stands. */
function columns(found) {
  const row = ({ title, meaning }) => el("tr", {}, el("th", { scope: "row" }, title), el("td", {}, el("select", { "aria-label": `What the column ${title} means`, onchange: (e) => e.target.value && read_so(title, e.target.value) },
    meaning ? null : el("option", { value: "", selected: true }, "not used"), MEANINGS.map((m) => el("option", { value: m, selected: m === meaning }, m)))));
  return el("table", { class: "table columns-read", id: "columns" }, el("caption", {}, "Choose another meaning where a column was taken for something else"),
    el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "title in the table"), el("th", { scope: "col" }, "taken for"))), el("tbody", {}, found.map(row)));
}

function corrections(by_title = false) {
  const title = el("input", { type: "text", "aria-label": "Title of a column" }), meaning = el("select", { "aria-label": "What the column means" }, MEANINGS.map((m) => el("option", { value: m }, m)));
  return el("details", { open: by_title }, el("summary", {}, "Correct how it is read"),
    choice("Days", "dates", ["day-first", "month-first"]), choice("Decimal sign", "decimal", ["point", "comma"]), choice("Times counted from", "timed", ["order", "movement"]),
    by_title && el("div", { class: "field" }, el("p", { class: "hint" }, "The title of a column as it stands in the table, and what it means"), el("div", { class: "row" }, title, meaning,
      el("button", { type: "button", onclick: () => title.value.trim() && read_so(title.value, meaning.value) }, "Read it so"))));
}

function take(given) {
  if (!given) return;
  file = given;
  Object.assign(how, { dates: "", decimal: "", timed: "", columns: [] });
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
