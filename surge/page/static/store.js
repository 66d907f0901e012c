// The case that is open: its text, which is all that counts, what stands in it, and how it came to be.

import { later, released } from "./dom.js";
import { TAB, other_tabs, post } from "./server.js";

const MOST_STEPS = 200;

export const store = {
  start: null, // what the server said at the start
  name: "",
  text: "",
  saved: "", // the text that stands in the file
  before: null, // the text that stood there before it was saved last
  over: "", // the hash of the file as it was opened or saved
  seen: { data: {}, faults: [], drawing: { points: {}, elements: [], things: [] }, scenarios: [], elevations: {} },
  past: [],
  future: [],
  chosen: null, // path of what the form shows: ["valve", 0], ["points", "berth"], ["rate"]
  answer: null, // of the last check
  answered: "", // the text that it was made of
  dragging: false, // a slider is held: what the page shows is of other figures than the text has
};

const listeners = new Map();

/** Call something whenever an event comes: "text", "chosen", "answer", "saved". */
export function on(event, call) {
  listeners.set(event, [...(listeners.get(event) ?? []), call]);
}

/** Tell those who listen. */
export function tell(event, ...given) {
  for (const call of listeners.get(event) ?? []) call(...given);
}

const unsaved = ({ name, text, saved, over }) => (text === saved ? { name, tab: TAB, text: null } : { name, tab: TAB, text, over });

async function keep_now() {
  if (!store.name) return;
  try {
    await post("draft", unsaved(store));
  } catch (error) {
    tell("trouble", error.message);
  }
}
const keep = later(400, keep_now);
// A tab that is closed in the moment after a change has no time to wait.
addEventListener("pagehide", () => store.name && navigator.sendBeacon("api/draft", JSON.stringify(unsaved(store))));

async function take(seen) {
  await released();
  store.seen = seen;
  store.text = seen.text;
  tell("text");
  keep();
}

// One change after the other: each is made to the text that the one before has left.
let queue = Promise.resolve();
function in_turn(work) {
  const done = queue.then(work);
  queue = done.catch(() => {});
  return done;
}

/** Make changes to the case. */
export function change(changes) {
  return in_turn(async () => {
    try {
      const seen = await post("edit", { name: store.name, text: store.text, changes });
      if (seen.text === store.text) return;
      remember();
      await take(seen);
    } catch (error) {
      tell("trouble", error.message);
    }
  });
}

/** Put another text in the place of this one, as a step that can be undone. */
export function replace(text) {
  return in_turn(async () => {
    const seen = await post("read", { name: store.name, text });
    remember();
    await take(seen);
  });
}

function remember() {
  store.past = [...store.past, store.text].slice(-MOST_STEPS);
  store.future = [];
}

function step(from, to) {
  return in_turn(async () => {
    if (!store[from].length) return;
    try {
      const seen = await post("read", { name: store.name, text: store[from].at(-1) });
      store[from].pop();
      store[to].push(store.text);
      await take(seen);
    } catch (error) {
      tell("trouble", error.message);
    }
  });
}

export const undo = () => step("past", "future");
export const redo = () => step("future", "past");

/**
 * Open a case of the folder. What a tab that is gone has not saved of it comes back: it is this tab's from then on.
 * What another tab has not saved stays with it.
 */
export async function open(name) {
  await keep_now(); // of the case that is left
  const [found, others] = await Promise.all([post("open", { name }), other_tabs()]);
  const left = found.drafts.filter((d) => !others.includes(d.tab)), [draft] = left;
  if (!draft && !found.sha256) throw new Error(`${name} was never saved, and is open in another tab.`);
  const seen = await post("read", { name, text: draft ? draft.text : found.text });
  Object.assign(store, { name, saved: found.text, over: found.sha256, before: null, past: [], future: [], chosen: null });
  if (draft) {
    // Undo shows the file, and before it what other tabs have left.
    store.past = [...left.slice(1).reverse().map((d) => d.text), ...(found.sha256 ? [found.text] : [])];
    store.over = draft.over;
    if (!found.sha256) tell("trouble", `${name} is back, which was never saved.`, "told", [["Forget it", forget]]);
    else tell("trouble", draft.over === found.sha256
      ? `What was not saved of ${name} is back. Undo shows the file as it was saved.`
      : `What was not saved of ${name} is back, but the file has changed meanwhile. Undo shows the file; saving asks first.`, "told");
  }
  if (left.length < found.drafts.length) tell("trouble", `${name} is open in another tab too, with changes that are not saved. They stay there; who saves last is asked.`, "told");
  if (draft) {
    await post("draft", { name, tab: TAB, text: draft.text, over: draft.over });
    for (const d of left) if (d.tab !== TAB) await post("draft", { name, tab: d.tab, text: null });
  }
  await take(seen);
}

/** Leave a case that was never saved. */
async function forget() {
  await post("draft", { name: store.name, tab: TAB, text: null });
  store.name = ""; // nothing of it is kept again
  history.replaceState(null, "", location.pathname);
  location.reload();
}

/** Begin a new case under a name, from a text. */
export async function begin(name, text) {
  const seen = await post("read", { name, text });
  Object.assign(store, { name, saved: "", before: null, over: "", past: [], future: [], chosen: null });
  await take(seen);
}

/** Write the case to its file, after the changes that are under way. Throws what the server refuses; of a file changed outside with "there". */
export function save() {
  return in_turn(async () => {
    const { text, name, over } = store;
    const found = await post("save", { name, tab: TAB, text, over });
    store.over = found.sha256;
    if (store.saved && store.saved !== text) store.before = store.saved;
    store.saved = text;
    store.start.cases = found.cases;
    tell("saved");
  });
}

/** What stands at a path of the case. */
export function at(path, data = store.seen.data) {
  return path.reduce((item, part) => (item === null || item === undefined ? undefined : item[part]), data);
}

/** The case to compare with: as it was saved; where nothing is changed since, as it was saved before. Null for none. */
export const before_now = () => (store.saved && store.text !== store.saved ? store.saved : store.before);

/** Whether something stands at a path of the case. */
export const has = (path) => at(path) !== undefined;

/** What moves in a scenario of the answer, and where the case says so. */
export const line_of = (name) => store.seen.scenarios.find((line) => line.scenario === name) ?? null;

/** The position in the case of the scenario that one of the answer is, or repeats at another stage. */
export const own_scenario = (name) => line_of(name)?.own ?? -1;

/** Everything that moves in a scenario of the case, with the path of its table. */
export function moves_of(index) {
  const { event, shutdown } = at(["scenario", index]) ?? {};
  return [...(event ?? []).map((move, i) => [move, ["scenario", index, "event", i]]),
    ...(shutdown?.step ?? []).map((move, i) => [move, ["scenario", index, "shutdown", "step", i]])];
}

/** Choose what the form shows. */
export function choose(path, { focus = false } = {}) {
  store.chosen = path;
  tell("chosen", focus);
}
