// How numbers and names read on the page.

const MINUS = '\u2212';
export const NONE = '\u2013';

const has = (v) => typeof v === 'number' && Number.isFinite(v);

// fixed gives v with so many decimals and a true minus sign; a dash when there is no number.
export function fixed(v, digits = 1) {
  if (!has(v)) return NONE;
  const text = Math.abs(v).toFixed(digits);
  return v < 0 && Number(text) !== 0 ? MINUS + text : text;
}

// index gives a speech intelligibility index in hundredths, cut and not rounded:
// 0.449 is not yet what 0.45 is called.
export function index(v) {
  return has(v) ? fixed(Math.floor(v * 100 + 1e-6) / 100, 2) : NONE;
}

// gain is fixed with a sign on both sides of zero, for level controls.
export function gain(v) {
  return (v > 0 ? '+' : '') + fixed(v, 0) + ' dB';
}

// revs groups thousands by a thin gap: 4 800.
export function revs(v) {
  return String(Math.round(v)).replace(/\B(?=(\d{3})+$)/g, '\u2009');
}

// short takes folders and ending off a file's path.
export function short(path) {
  return path.replace(/^.*\//, '').replace(/\.[^.]+$/, '');
}

export const MARKS = [
  { from: 0.60, word: 'clear', shape: '\u25cf' },
  { from: 0.45, word: 'understood', shape: '\u25d5' },
  { from: 0.30, word: 'guessable', shape: '\u25d1' },
  { from: -Infinity, word: 'lost', shape: '\u25cb' },
];

// mark gives the word for a speech intelligibility index.
export function mark(sii) {
  return MARKS.find((m) => sii >= m.from);
}

export const byId = (id) => document.getElementById(id);

// make builds an element: make('td', {scope: 'row', className: 'num'}, 'text', child, ...).
export function make(name, props = {}, ...inside) {
  const el = document.createElement(name);
  for (const [k, v] of Object.entries(props)) {
    if (k in el) el[k] = v; else el.setAttribute(k, v);
  }
  el.append(...inside);
  return el;
}

// say writes text only when it changed, so that status regions speak once.
export function say(el, text) {
  if (el.textContent !== text) el.textContent = text;
}

// A Held control is set by the hand and by the server; the hand wins for a while.
export class Held {
  constructor(input, show) {
    this.input = input;
    this.show = show;
    this.until = 0;
    show(Number(input.value));
  }

  touch() {
    this.until = performance.now() + 700;
    this.show(Number(this.input.value));
  }

  follow(v) {
    if (!has(v) || performance.now() < this.until || Number(this.input.value) === v) return;
    this.input.value = v;
    this.show(v);
  }
}
