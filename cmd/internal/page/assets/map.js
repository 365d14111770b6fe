// The callout × revs map: every cell is a button that plays its meeting.

import { byId, make, say, revs, fixed, index, short, mark, MARKS, NONE } from './form.js';

export class Meetings {
  constructor(sound, wakeUp) {
    this.sound = sound;
    this.wakeUp = wakeUp;
    this.data = null;
    this.cells = [];
    this.planned = null;
    const box = byId('map-scroll');
    box.addEventListener('scroll', () => this.edges(), { passive: true });
    new ResizeObserver(() => this.edges()).observe(box);
  }

  // edges tells that the map goes on outside its box, and on which side.
  edges() {
    const box = byId('map-scroll');
    const over = box.scrollWidth - box.clientWidth;
    byId('map-more').hidden = box.hidden || over < 2;
    box.parentElement.classList.toggle('from', over >= 2 && box.scrollLeft > 1);
    box.parentElement.classList.toggle('on', over >= 2 && box.scrollLeft < over - 1);
  }

  waiting(plan) {
    if (this.data) return;
    if (plan.error) say(byId('map-say'), 'No map: ' + plan.error);
    else if (!plan.ready) say(byId('map-say'), 'Waiting for the plan');
  }

  async load() {
    if (this.data) return;
    const r = await fetch('/map.json', { cache: 'no-store' });
    if (!r.ok) return;
    this.data = await r.json();
    this.build();
  }

  build() {
    const { rpm, callouts } = this.data;
    if (!rpm || !rpm.length || !callouts || !callouts.length) {
      say(byId('map-say'), 'This package has no callouts to meet, or no engine.');
      return;
    }
    const scale = MARKS.map((m) => `${m.shape}\u00a0${m.word}${Number.isFinite(m.from) ? ' from ' + fixed(m.from, 2) : ''}`).join(', ');
    say(byId('map-say'), `Press a cell to hear exactly that meeting: the callout among music, an effect and the engine at those revs. The number is how much of the speech arrives, 0 to 1: ${scale}. The switch \u201ccompare\u201d changes these numbers as well as the sound. Under each name stands what it keeps in nine of ten meetings, without \u2192 with the plan.`);
    say(byId('map-more'), `Scroll for more revs, to ${revs(rpm[rpm.length - 1])} rpm\u00a0\u2192`);
    const head = make('tr', {}, make('th', { scope: 'col' }, 'rpm'), ...rpm.map((v) => make('th', { scope: 'col' }, revs(v))));
    const rows = callouts.map((c, i) => {
      const cells = rpm.map((v, j) => {
        const b = make('button', { type: 'button' });
        b.addEventListener('click', () => this.meet(i, j, b));
        return b;
      });
      this.cells.push(cells);
      return make('tr', {}, make('th', { scope: 'row', title: c.path }, this.row(c)), ...cells.map((b) => make('td', {}, b)));
    });
    byId('map').replaceChildren(make('caption', {}, make('span', { id: 'map-caption' })), make('thead', {}, head), make('tbody', {}, ...rows));
    byId('map-scroll').hidden = false;
    byId('map-scroll').parentElement.style.setProperty('--steps', rpm.length);
    this.planned = null;
    this.edges();
  }

  // row is a callout's name over what the plan does for it.
  row(c) {
    const kept = make('span', { className: 'kept fig' }, `${index(c.sii_plain)} \u2192 ${index(c.sii_planned)}`);
    return make('div', { className: 'who-speaks' }, make('span', { className: 'called' }, short(c.path)), make('span', { className: 'hush' }, ': '), kept);
  }

  meet(callout, step, button) {
    this.wakeUp();
    this.sound.send({ do: 'drive', by: 'scene' });
    this.sound.send({ do: 'meet', callout, step });
    byId('map').querySelector('.chosen')?.classList.remove('chosen');
    button.classList.add('chosen');
  }

  show(planned) {
    if (planned === this.planned || !this.cells.length) return;
    this.planned = planned;
    const words = planned ? 'with the plan' : 'without the plan';
    say(byId('map-caption'), `Speech intelligibility index ${words}`);
    this.data.callouts.forEach((c, i) => {
      this.cells[i].forEach((b, j) => {
        const v = (planned ? c.planned : c.plain)[j];
        const m = typeof v === 'number' ? mark(v) : null;
        b.className = (m ? m.word : '') + (b.classList.contains('chosen') ? ' chosen' : '');
        b.replaceChildren(this.number(index(v)), make('span', { className: 'shape' }, m ? m.shape : NONE));
        b.setAttribute('aria-label', `${index(v)} ${m ? m.word : 'not measured'}: ${short(c.path)} at ${this.data.rpm[j]} rpm, ${words}`);
      });
    });
  }

  // number is an index whose leading zero a narrow page leaves out: .53
  number(text) {
    const b = make('b');
    if (text.startsWith('0.')) b.append(make('span', { className: 'zero' }, '0'), text.slice(1));
    else b.append(text);
    return b;
  }
}
