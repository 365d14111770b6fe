// What sounds now: numbers and charts. They never announce themselves to a
// screen reader; the words around them do when something changes.

import { byId, make, say, fixed, index, short, mark, NONE } from './form.js';
import { Bands, Ducking } from './charts.js';

const CALM = matchMedia('(prefers-reduced-motion: reduce)');
const NUMBERS_MS = 200;
const CHARTS_MS = 100;
const CALM_MS = 500;
const TABLES_MS = 500;

export class Meters {
  constructor(pack, sound) {
    this.bands = new Bands(byId('chart-bands'), pack.bands_hz);
    this.ducking = new Ducking(byId('chart-duck'), pack.categories);
    this.categories = pack.categories;
    this.due = {};
    this.tables(pack);
    byId('reset').addEventListener('click', () => sound.send({ do: 'reset' }));
  }

  tables(pack) {
    const head = (table, names) => table.append(make('thead', {}, make('tr', {}, ...names.map((n, i) => make('th', { scope: 'col', className: i ? 'num' : '' }, n)))));
    const body = (table, names, columns) => {
      const rows = names.map((n) => make('tr', {}, make('th', { scope: 'row' }, n), ...Array.from({ length: columns }, () => make('td', { className: 'num fig' }, NONE))));
      table.append(make('tbody', {}, ...rows));
      return rows.map((r) => [...r.cells].slice(1));
    };
    head(byId('table-bands'), ['Hz', 'callout', 'all else', 'hall']);
    this.bandCells = body(byId('table-bands'), pack.bands_hz.map((hz) => hertz(hz)), 3);
    head(byId('table-duck'), ['Category', 'now', 'in a band, now', 'most, 10 s']);
    this.duckCells = body(byId('table-duck'), pack.categories, 3);
  }

  // isDue keeps each part to its own pace.
  isDue(part, everyMs) {
    const now = performance.now();
    if (now < (this.due[part] || 0)) return false;
    this.due[part] = now + (CALM.matches ? Math.max(CALM_MS, everyMs) : everyMs) - 10;
    return true;
  }

  show(state) {
    const buses = new Map((state.buses || []).map((b) => [b.category, b]));
    const taken = this.categories.map((c) => buses.get(c)?.duck_db || 0);
    this.ducking.add(performance.now() / 1000, taken, taken.map((v, i) => v + (buses.get(this.categories[i])?.dip_db || 0)));
    if (this.isDue('numbers', NUMBERS_MS)) this.numbers(state);
    if (this.isDue('charts', CHARTS_MS)) {
      this.bands.set(state);
      this.ducking.draw();
    }
    if (this.isDue('tables', TABLES_MS)) this.fill(state, buses);
  }

  // blank is for when nothing is known of the sound.
  blank() {
    this.due = {};
    this.show({});
    for (const id of ['n-clips', 'n-limited', 'callout']) say(byId(id), NONE);
  }

  numbers(s) {
    byId('by-hand').hidden = !(s.buses || []).some((b) => b.level_db || b.mute || b.solo);
    byId('rpm').classList.toggle('none', typeof s.rpm !== 'number');
    say(byId('n-momentary'), fixed(s.momentary_lufs));
    say(byId('n-short'), fixed(s.short_term_lufs));
    say(byId('n-peak'), fixed(s.true_peak_dbtp));
    say(byId('n-hold'), fixed(s.true_peak_hold_dbtp));
    say(byId('n-clips'), String(s.clips || 0));
    byId('n-clips').classList.toggle('bad', s.clips > 0);
    say(byId('n-out'), fixed(s.output_peak_dbtp));
    say(byId('n-limited'), fixed(s.limited_db || 0));
    say(byId('callout'), s.callout ? short(s.callout) : 'none yet');
    const known = s.callout && typeof s.sii === 'number';
    say(byId('sii'), known ? index(s.sii) : NONE);
    const m = known ? mark(s.sii) : null;
    const word = byId('sii-word');
    say(word, m ? `${m.shape} ${m.word}${s.sii_done ? '' : ' so far'}` : 'not measured');
    word.className = 'mark ' + (m ? m.word : '');
  }

  fill(state, buses) {
    if (byId('table-bands').closest('details').open) {
      this.bandCells.forEach((cells, i) => {
        say(cells[0], fixed(state.callout_db?.[i], 0));
        say(cells[1], fixed(state.rest_db?.[i], 0));
        say(cells[2], fixed(state.hall_db?.[i], 0));
      });
    }
    if (byId('table-duck').closest('details').open) {
      this.duckCells.forEach((cells, i) => {
        const b = buses.get(this.categories[i]);
        say(cells[0], fixed(b?.duck_db || 0));
        say(cells[1], fixed((b?.duck_db || 0) + (b?.dip_db || 0)));
        say(cells[2], fixed(this.ducking.most(i)));
      });
    }
  }
}

function hertz(hz) {
  return hz >= 1000 ? String(Number((hz / 1000).toPrecision(3))) + ' k' : String(Number(hz.toPrecision(3)));
}
