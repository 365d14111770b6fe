// The scene's panel: what plays, with or without the plan, each category's
// level, and where it is heard.

import { byId, make, say, fixed, gain, Held } from './form.js';

const FADER_LOW_DB = -60;
const FADER_HIGH_DB = 12;

// seconds reads 3.4 s of 12.0 s with a steady width.
const seconds = (v) => fixed(v, 1).padStart(4, '\u2007');

export class Scene {
  constructor(pack, sound, wakeUp) {
    this.pack = pack;
    this.sound = sound;
    this.wakeUp = wakeUp;
    this.rows = new Map();
    this.plan = null;
    this.held = new Map(); // inputs the hand has just moved
    this.player();
    this.compare();
    this.room();
    this.mix();
  }

  player() {
    const pick = byId('scenes');
    for (const s of this.pack.scenes || []) {
      pick.append(make('option', { value: s.name }, `${s.name}, ${fixed(s.length_s, 0)} s${s.engine ? ', with engine' : ''}`));
    }
    const none = !pick.options.length;
    for (const id of ['scenes', 'play', 'stop', 'loop']) byId(id).disabled = none;
    if (none) say(byId('position'), 'The sheet has no scenes');
    byId('play').addEventListener('click', () => {
      this.wakeUp();
      this.sound.send({ do: 'play', scene: pick.value, loop: byId('loop').checked });
    });
    byId('stop').addEventListener('click', () => this.sound.send({ do: 'stop' }));
    this.tick('loop', (on) => this.sound.send({ do: 'loop', on }));
  }

  // tick wires a checkbox; the hand wins over the server for a moment.
  tick(id, send) {
    const box = byId(id);
    box.addEventListener('change', () => {
      this.held.set(id, performance.now() + 700);
      send(box.checked);
    });
  }

  follow(id, on) {
    if (performance.now() > (this.held.get(id) || 0)) byId(id).checked = Boolean(on);
  }

  compare() {
    for (const r of this.switches()) r.addEventListener('change', () => this.planned(r.value === 'on'));
    addEventListener('keydown', (e) => {
      if (e.code !== 'KeyP' || e.repeat || e.ctrlKey || e.altKey || e.metaKey) return;
      if (e.target.closest?.('select')) return;
      const on = this.switches().find((r) => r.value === 'on');
      if (!on.disabled) this.planned(!on.checked);
    });
  }

  switches() {
    return [...document.querySelectorAll('input[name=planned]')];
  }

  planned(on) {
    this.held.set('planned', performance.now() + 700);
    this.showPlanned(on);
    this.sound.send({ do: 'planned', on });
  }

  showPlanned(on) {
    for (const r of this.switches()) r.checked = (r.value === 'on') === on;
  }

  // isPlanned says which way the switch stands, for the map.
  isPlanned() {
    return this.switches().some((r) => r.value === 'on' && r.checked);
  }

  room() {
    this.tick('hall', (on) => {
      if (on) this.wakeUp();
      this.sound.send({ do: 'hall', on });
    });
    this.tick('cabinet', (on) => this.sound.send({ do: 'cabinet', on }));
    const l = this.pack.listening || {};
    const at = [];
    if (l.level_at_ear_db) at.push(`Machine at the ear ${fixed(l.level_at_ear_db, 0)} dB SPL`);
    if (l.noise_dba) at.push(`hall noise ${fixed(l.noise_dba, 0)} dB(A)`);
    const text = [at.length ? at.join(', ') + '.' : '', ...(l.assumed || [])].join(' ');
    say(byId('room-say'), text);
  }

  mix() {
    const box = byId('mix');
    this.pack.categories.forEach((category, i) => {
      const id = 'fader-' + i;
      const fader = make('input', { id, type: 'range', min: FADER_LOW_DB, max: FADER_HIGH_DB, step: 1, value: 0 });
      const text = make('output', { className: 'fig', for: id }, gain(0));
      const held = new Held(fader, (v) => {
        say(text, gain(v));
        fader.setAttribute('aria-valuetext', gain(v));
      });
      fader.addEventListener('input', () => {
        held.touch();
        this.sound.send({ do: 'fader', category, level_db: Number(fader.value) });
      });
      fader.addEventListener('dblclick', () => {
        fader.value = 0;
        held.touch();
        this.sound.send({ do: 'fader', category, level_db: 0 });
      });
      const row = make('div', { className: 'strip-row' }, make('label', { className: 'name', htmlFor: id }, category), fader, text,
        this.toggle(category, 'mute', 'Mute'), this.toggle(category, 'solo', 'Solo'));
      box.append(row);
      this.rows.set(category, { held, row });
    });
  }

  toggle(category, what, word) {
    const b = make('button', { type: 'button', className: 'toggle ' + what, 'aria-pressed': 'false', 'aria-label': `${word} ${category}` }, word);
    const key = what + category;
    b.dataset.key = key;
    b.addEventListener('click', () => {
      const on = b.getAttribute('aria-pressed') !== 'true';
      b.setAttribute('aria-pressed', String(on));
      this.held.set(key, performance.now() + 700);
      this.sound.send({ do: what, category, on });
    });
    return b;
  }

  showPlan(plan) {
    this.plan = plan;
    for (const r of this.switches()) r.disabled = !plan.ready;
    if (plan.ready) return;
    if (plan.error) say(byId('compare-say'), 'No plan: ' + plan.error);
    else {
      const far = [plan.doing, plan.all ? `${plan.done} of ${plan.all}` : ''].filter(Boolean).join(', ');
      say(byId('compare-say'), `The plan is being worked out${far ? ` (${far})` : ''}. You can play already.`);
    }
  }

  show(state) {
    if (state.preparing) say(byId('position'), `Making \u201c${state.preparing}\u201d ready`);
    else if (state.playing) say(byId('position'), `${state.scene}: ${seconds(state.position_s)} s of ${seconds(state.length_s)} s${state.looping ? ', loops' : ''}`);
    else if ((this.pack.scenes || []).length) say(byId('position'), 'Nothing plays');
    if (state.playing) this.follow('loop', state.looping);
    this.follow('hall', state.hall);
    this.follow('cabinet', state.cabinet);
    const byHand = state.playing && state.drive && state.drive !== 'scene';
    say(byId('scene-hint'), byHand ? `The ${state.drive === 'lever' ? 'lever works' : 'sliders work'} the engine now; choose \u201cscene\u201d there to hear the scene\u2019s own revs.` : '');
    if (performance.now() > (this.held.get('planned') || 0)) this.showPlanned(Boolean(state.planned && state.has_plan));
    if (this.plan && this.plan.ready) this.sayMatch(state);
    for (const b of state.buses || []) {
      const r = this.rows.get(b.category);
      if (!r) continue;
      r.held.follow(b.level_db);
      for (const what of ['mute', 'solo']) this.followToggle(r.row, what + b.category, b[what]);
    }
  }

  followToggle(row, key, on) {
    if (performance.now() < (this.held.get(key) || 0)) return;
    for (const b of row.querySelectorAll('.toggle')) {
      if (b.dataset.key === key) b.setAttribute('aria-pressed', String(Boolean(on)));
    }
  }

  sayMatch(state) {
    if (!state.playing) return say(byId('compare-say'), 'Play a scene and switch while it runs: both are equally loud.');
    const down = -(state.match_db || 0);
    return say(byId('compare-say'), down < 0.05 ? 'Both equally loud: the other is turned down.' : `Both equally loud: this one is turned down ${fixed(down, 1)} dB.`);
  }
}
