// The case that is open: its text, which is all that counts, what stands in it, and how it came to be.

import { later } from "./dom.js";
import { post } from "./server.js";

const MOST_STEPS = 200;

export const store = {
  start: null, // what the server said at the start
  name: "",
  text: "",
  saved: "", // the text that stands in the file
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

let kept = ""; // what this tab has kept last: what another tab keeps is its own

const keep = later(400, async () => {
  try {
    if (store.text === store.saved) await post("draft", { name: store.name, text: null, was: kept });
    else {
      kept = store.text;
      await post("draft", { name: store.name, text: kept, over: store.over });
    }
  } catch (error) {
    tell("trouble", error.message);
  }
});

function take(seen) {
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
      take(seen);
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
    take(seen);
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
      take(seen);
    } catch (error) {
      tell("trouble", error.message);
    }
  });
}

export const undo = () => step("past", "future");
export const redo = () => step("future", "past");

/** Open a case of the folder. What was written of it and not saved comes back. */
export async function open(name) {
  const found = await post("open", { name });
  store.name = name;
  store.saved = found.text;
  store.over = found.sha256;
  store.past = [];
  store.future = [];
  store.chosen = null;
  const text = found.draft ? found.draft.text : found.text;
  const seen = await post("read", { name, text });
  kept = found.draft ? found.draft.text : "";
  if (found.draft) {
    store.past = [found.text];
    tell("trouble", found.draft.over === found.sha256
      ? `What was not saved of ${name} is back. Undo shows the file as it was saved.`
      : `What was not saved of ${name} is back, but the file has changed meanwhile. Undo shows the file; saving asks first.`, "told");
    store.over = found.draft.over;
  }
  take(seen);
}

/** Begin a new case under a name, from a text. */
export async function begin(name, text) {
  const seen = await post("read", { name, text });
  Object.assign(store, { name, saved: "", over: "", past: [], future: [], chosen: null });
  take(seen);
}

/** Write the case to its file, after the changes that are under way. Throws what the server refuses; of a file changed outside with "there". */
export function save() {
  return in_turn(async () => {
    const { text, name, over } = store;
    const found = await post("save", { name, text, over, was: kept });
    store.over = found.sha256;
    store.saved = text;
    store.start.cases = found.cases;
    tell("saved");
  });
}

/** What stands at a path of the case. */
export function at(path, data = store.seen.data) {
  return path.reduce((item, part) => (item === null || item === undefined ? undefined : item[part]), data);
}

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
