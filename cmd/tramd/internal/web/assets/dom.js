// Small hands for the document: find, make, and change only what differs, so that a quiet page costs nothing.

export const byId = (id) => document.getElementById(id);

export function setText(el, text) {
  if (el.textContent !== text) el.textContent = text;
}

// setDated is setText that breaks no date at the end of a line.
export function setDated(el, text) {
  if (el.textContent === text) return;
  el.replaceChildren(...text.split(/(\d{4}-\d\d-\d\d(?: \d\d:\d\d)?)/).map((piece, i) => (i % 2 ? make('span', 'date', piece) : piece)));
}

export function setClass(el, name) {
  if (el.className !== name) el.className = name;
}

export function make(tag, className, text) {
  const el = document.createElement(tag);
  if (className) el.className = className;
  if (text !== undefined) el.textContent = text;
  return el;
}

export function draw(tag, attributes = {}) {
  const el = document.createElementNS('http://www.w3.org/2000/svg', tag);
  return set(el, attributes);
}

export function set(el, attributes) {
  for (const [name, value] of Object.entries(attributes)) {
    const text = String(value);
    if (el.getAttribute(name) !== text) el.setAttribute(name, text);
  }
  return el;
}
