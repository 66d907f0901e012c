// Questions to the server. Its address has the token, so that every address here counts from the page's own.

export const TAB = crypto.randomUUID();
const LOCK = "surge-tab-";

// As long as the tab is there it holds a lock, which the browser takes from it however it ends.
navigator.locks?.request(LOCK + TAB, () => new Promise(() => {}));

/** The other tabs that there are. */
export async function other_tabs() {
  const { held } = (await navigator.locks?.query()) ?? { held: [] };
  return held.filter((lock) => lock.name.startsWith(LOCK)).map((lock) => lock.name.slice(LOCK.length)).filter((tab) => tab !== TAB);
}

/** Something that the server refused; "there" is what stands in a file that was changed outside. */
export class Refused extends Error {
  constructor(said) {
    super(said.error ?? said.text ?? "The server has no answer.");
    this.there = said.there;
  }
}

/** Ask for something that is there at once. */
export async function post(what, given = {}) {
  let answer;
  try {
    answer = await fetch(`api/${what}`, { method: "POST", body: JSON.stringify(given) });
  } catch {
    throw new Refused({ error: "The server does not answer: is surge page still running? Nothing is lost here; start it again and reload." });
  }
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Refused(said);
  return said;
}

const asked = new Map();

async function listen(answer, tell) {
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  let text = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return null;
    text += value;
    let end;
    while ((end = text.indexOf("\n\n")) >= 0) {
      const [event, data] = text.slice(0, end).split("\n").map((line) => line.slice(line.indexOf(": ") + 2));
      text = text.slice(end + 2);
      if (event === "answer") return JSON.parse(data);
      tell(JSON.parse(data));
    }
  }
}

/**
 * Ask for something that is computed. What was asked before for the same purpose is given up.
 * Returns null where the question itself was given up.
 */
export async function ask(purpose, given, tell = () => {}, records = null) {
  give_up(purpose);
  const control = new AbortController();
  asked.set(purpose, control);
  try {
    const path = records ? `api/records?${new URLSearchParams({ ...given, tab: TAB })}` : "api/ask";
    const body = records ?? JSON.stringify({ ...given, tab: TAB });
    const answer = await fetch(path, { method: "POST", body, signal: control.signal });
    if (!answer.ok) throw new Refused(await answer.json().catch(() => ({})));
    return await listen(answer, tell);
  } catch (error) {
    if (control.signal.aborted) return null;
    if (error instanceof Refused) throw error;
    throw new Refused({ error: "The server does not answer: is surge page still running?" });
  } finally {
    if (asked.get(purpose) === control) asked.delete(purpose);
  }
}

/** Give up what was asked for a purpose. */
export function give_up(purpose) {
  asked.get(purpose)?.abort();
  asked.delete(purpose);
}

// A tab that is closed needs no processes any more.
addEventListener("pagehide", () => navigator.sendBeacon("api/stop", JSON.stringify({ tab: TAB, closed: true })));
