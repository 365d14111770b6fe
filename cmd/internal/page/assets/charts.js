// Two charts with fixed axes, drawn as inline SVG so that the theme's colours
// and the page's font apply.

const NS = 'http://www.w3.org/2000/svg';

function svg(name, attrs = {}, text) {
  const el = document.createElementNS(NS, name);
  for (const [k, v] of Object.entries(attrs)) el.setAttribute(k, v);
  if (text !== undefined) el.textContent = text;
  return el;
}

const LEFT = 34;
const RIGHT = 8;
const TOP = 8;
const BOTTOM = 22;

// A Chart keeps its frame and lets its owner draw the lines.
class Chart {
  constructor(box, label) {
    this.box = box;
    this.root = svg('svg', { role: 'img', 'aria-label': label });
    this.frame = svg('g', { class: 'frame' });
    this.lines = svg('g');
    this.root.append(this.frame, this.lines);
    box.append(this.root);
    new ResizeObserver(() => this.resize()).observe(box);
  }

  resize() {
    this.width = this.box.clientWidth;
    this.height = this.box.clientHeight;
    if (!this.width) return;
    this.root.setAttribute('viewBox', `0 0 ${this.width} ${this.height}`);
    this.frame.replaceChildren();
    this.axes();
    this.draw();
  }

  y(v) {
    const part = (v - this.low) / (this.high - this.low);
    return TOP + (1 - Math.max(0, Math.min(1, part))) * (this.height - TOP - BOTTOM);
  }

  grid(y, text) {
    this.frame.append(
      svg('line', { x1: LEFT, x2: this.width - RIGHT, y1: y, y2: y }),
      svg('text', { x: LEFT - 6, y: y + 4, 'text-anchor': 'end' }, text),
    );
  }

  below(x, text, anchor = 'middle') {
    this.frame.append(svg('text', { x, y: this.height - 5, 'text-anchor': anchor }, text));
  }
}

const SERIES = [['rest', 'Everything else'], ['hall', 'Hall'], ['callout', 'Callout']];

// Bands shows third octaves of the callout over all that competes with it.
export class Bands extends Chart {
  constructor(box, bandsHz) {
    super(box, 'Third-octave levels of the callout, of everything else and of the hall; the numbers are in the table below');
    this.bandsHz = bandsHz;
    this.low = 20;
    this.high = 110;
    this.levels = {};
    this.paths = {};
    for (const [key] of SERIES) {
      this.paths[key] = svg('path', { class: 'line-' + key });
      this.lines.append(this.paths[key]);
    }
    box.before(legend(SERIES.map(([key, name]) => ['line-' + key, name])));
  }

  x(edge) {
    return LEFT + (edge / this.bandsHz.length) * (this.width - LEFT - RIGHT);
  }

  axes() {
    for (const db of [20, 40, 60, 80, 100]) this.grid(this.y(db), String(db));
    const named = [[31.5, '31'], [125, '125'], [500, '500'], [2000, '2k'], [8000, '8k']];
    for (const [hz, text] of named) {
      const i = this.bandsHz.findIndex((f) => Math.abs(f / hz - 1) < 0.06);
      if (i >= 0) this.below(this.x(i + 0.5), text);
    }
    this.below(this.width - RIGHT, 'Hz', 'end');
  }

  set(state) {
    this.levels = { callout: state.callout_db, rest: state.rest_db, hall: state.hall_db };
    this.draw();
  }

  draw() {
    if (!this.width) return;
    for (const [key] of SERIES) this.paths[key].setAttribute('d', this.steps(this.levels[key], key === 'rest'));
  }

  steps(levels, filled) {
    if (!levels || levels.every((v) => v === null || v <= this.low)) return '';
    let d = '';
    let on = false; // a line breaks where there is nothing; an area goes down to the floor
    levels.forEach((v, i) => {
      const nothing = v === null || v <= this.low;
      if (nothing && !filled) {
        on = false;
        return;
      }
      const y = this.y(nothing ? this.low : v).toFixed(1);
      d += `${on ? 'L' : 'M'}${this.x(i).toFixed(1)} ${y}H${this.x(i + 1).toFixed(1)}`;
      on = true;
    });
    if (filled) d += `V${this.y(this.low)}H${this.x(0)}Z`;
    return d;
  }
}

const SPAN_S = 10;

// Ducking shows what the plan takes from each category over the last 10 s: a
// line for the whole category, dots for the band that it yields more of.
export class Ducking extends Chart {
  constructor(box, categories) {
    super(box, 'What the plan takes from each category, whole and in a band, over the last 10 seconds; the numbers are in the table below');
    this.categories = categories;
    this.low = 18; // upside down: taken away hangs from the top
    this.high = 0;
    this.past = [];
    this.paths = categories.map((_, i) => svg('path', { class: 'duck duck-' + (i % 6) }));
    this.dips = categories.map((_, i) => svg('path', { class: `duck dip duck-${i % 6}` }));
    this.lines.append(...this.paths, ...this.dips);
    box.before(legend([...categories.map((c, i) => ['duck duck-' + (i % 6), c]), ['duck dip', 'dots: in a band']]));
  }

  axes() {
    for (const db of [0, 6, 12, 18]) this.grid(this.y(db), db ? '\u2212' + db : '0');
    for (const s of [-10, -5]) this.below(this.x(s), `${-s} s ago`, s === -10 ? 'start' : 'middle');
    this.below(this.width - RIGHT, 'now', 'end');
  }

  x(agoS) {
    return LEFT + (1 + agoS / SPAN_S) * (this.width - LEFT - RIGHT);
  }

  // add keeps one moment, dB per category in the order of the legend: taken from
  // the whole category, and inBand from its deepest band, that included.
  add(atS, taken, inBand) {
    this.past.push({ atS, taken, inBand });
    while (this.past.length && this.past[0].atS < atS - SPAN_S) this.past.shift();
  }

  most(i) {
    return this.past.reduce((m, p) => Math.max(m, p.inBand[i]), 0);
  }

  draw() {
    if (!this.width || !this.past.length) return;
    const now = this.past[this.past.length - 1].atS;
    const point = (p, v) => `${this.x(p.atS - now).toFixed(1)} ${this.y(v).toFixed(1)}`;
    this.paths.forEach((path, i) => path.setAttribute('d', 'M' + this.past.map((p) => point(p, p.taken[i])).join('L')));
    this.dips.forEach((path, i) => {
      const deeper = (p) => p && p.inBand[i] > p.taken[i];
      let d = '';
      let on = false; // drawn with the moment before and after, so that it hangs from its line
      this.past.forEach((p, k) => {
        const seen = deeper(p) || deeper(this.past[k - 1]) || deeper(this.past[k + 1]);
        if (seen) d += (on ? 'L' : 'M') + point(p, p.inBand[i]);
        on = seen;
      });
      path.setAttribute('d', d);
    });
  }
}

function legend(items) {
  const list = document.createElement('ul');
  list.className = 'legend';
  for (const [cls, name] of items) {
    const li = document.createElement('li');
    const mark = svg('svg', { viewBox: '0 0 34 12', 'aria-hidden': 'true' });
    const shape = { 'line-rest': 'M0 11V3H34V11Z', 'duck dip': 'M3 6H32' }[cls] || 'M0 6H34';
    mark.append(svg('path', { class: cls, d: shape }));
    li.append(mark, name);
    list.append(li);
  }
  return list;
}
