// Elements of the page, made one by one: a text is always a text, never markup.

const SVG = "http://www.w3.org/2000/svg";

function fill(made, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "value") made.value = value;
    else made.setAttribute(name, value === true ? "" : String(value));
  }
  made.append(...children.flat(9).filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

/** An element of HTML with attributes, listeners ("onclick") and children. */
export const el = (tag, attributes, ...children) => fill(document.createElement(tag), attributes, children);

/** The same of SVG. */
export const svg = (tag, attributes, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);

/** The element with an id. */
export const by = (id) => document.getElementById(id);

/** Put children in the place of those that are there. */
export function put(where, ...children) {
  where.replaceChildren(...children.flat(9).filter(Boolean));
  return where;
}

let count = 0;
/** A new id. */
export const fresh = (stem) => `${stem}-${(count += 1)}`;

/** Call something once nothing has been said for a while [ms]. */
export function later(wait, call) {
  let timer = 0;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(() => call(...given), wait);
  };
}

const HELD = 4000; // [ms] that a press lasts at most: its end may be told to nobody
let pressed = null, release = () => {};
const ended = () => { setTimeout(release, 30); }; // after its click
addEventListener("pointerdown", () => { pressed = new Promise((done) => { release = () => { pressed = null; done(); }; setTimeout(release, HELD); }); }, true);
for (const event of ["pointerup", "pointercancel"]) addEventListener(event, ended, true);
addEventListener("blur", ended); // of the window itself: that of a field does not come here

/** Wait until no button of the mouse is held: what is drawn anew under it would lose the click. */
export const released = async () => { while (pressed) await pressed; };

/** A key of a case as words. */
export const words = (key) => String(key).replaceAll("_", " ");

/** Four-byte floats that came in base64. */
export function floats(packed) {
  const text = atob(packed);
  const bytes = Uint8Array.from(text, (c) => c.charCodeAt(0));
  return new Float32Array(bytes.buffer);
}

/** Round figures for the ticks of an axis, some six. */
export function nice(low, high) {
  const raw = (high - low) / 6, unit = 10 ** Math.floor(Math.log10(raw)), step = [1, 2, 5, 10].map((k) => k * unit).find((k) => k >= raw);
  const made = [];
  for (let v = Math.ceil(low / step) * step; v <= high; v += step) made.push(Number(v.toPrecision(6)));
  return made;
}

/** A colour or size of the sheet of styles. */
export const style = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/** Whether the system asks for no motion. */
export const still = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

/** Give the user a file. */
export function download(name, content, type) {
  const bytes = Uint8Array.from(atob(content), (c) => c.charCodeAt(0));
  const url = URL.createObjectURL(new Blob([bytes], { type }));
  const link = el("a", { href: url, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
}
