// The scene's panel: what plays, with or without the plan, each category's
// level, and where it is heard.

import { byId, make, say, fixed, gain, NONE, Held } from './form.js';

const FADER_LOW_DB = -60;
const FADER_HIGH_DB = 12;

// seconds reads 3.4 s of 12.0 s with a steady width.
const seconds = (v) => fixed(v, 1).padStart(4, '\u2007');

export class Scene {
  // settle is called before what changes how it is heard, handBack when Stop
  // gives the engine back to the scene.
  constructor(pack, sound, wakeUp, settle, handBack) {
    this.pack = pack;
    this.sound = sound;
    this.wakeUp = wakeUp;
    this.settle = settle;
    this.handBack = handBack;
    this.state = {};
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
    for (const id of ['scenes', 'play', 'loop']) byId(id).disabled = none;
    if (none) pick.append(make('option', {}, 'no scene in the sheet'));
    byId('play').addEventListener('click', () => this.play());
    pick.addEventListener('change', () => {
      if (this.state.playing || this.state.preparing) this.play();
    });
    byId('stop').addEventListener('click', () => {
      this.handBack();
      this.sound.send({ do: 'stop' });
    });
    this.tick('loop', (on) => this.sound.send({ do: 'loop', on }));
  }

  play() {
    this.wakeUp();
    this.sound.send({ do: 'play', scene: byId('scenes').value, loop: byId('loop').checked });
  }

  // tick wires a checkbox; the hand wins over the server for a moment.
  tick(id, send) {
    const box = byId(id);
    box.addEventListener('change', () => {
      this.held.set(id, performance.now() + 700);
      this.settle();
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
    this.settle();
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
        this.settle();
        this.sound.send({ do: 'fader', category, level_db: Number(fader.value) });
      });
      fader.addEventListener('dblclick', () => {
        fader.value = 0;
        held.touch();
        this.settle();
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
      this.settle();
      this.sound.send({ do: what, category, on });
    });
    return b;
  }

  showPlan(plan) {
    this.plan = plan;
    this.sayCompare(this.state);
  }

  show(state) {
    this.state = state;
    if (state.preparing) say(byId('position'), `Making \u201c${state.preparing}\u201d ready`);
    else if (state.playing) say(byId('position'), `${state.scene}: ${seconds(state.position_s)} s of ${seconds(state.length_s)} s${state.looping ? ', loops' : ''}`);
    else if (typeof state.rpm === 'number' && state.drive !== 'scene') say(byId('position'), runs(state));
    else say(byId('position'), 'Nothing plays');
    if (state.playing) this.follow('loop', state.looping);
    this.follow('hall', state.hall);
    this.follow('cabinet', state.cabinet);
    const byHand = state.playing && state.drive && state.drive !== 'scene';
    say(byId('scene-hint'), byHand ? `The ${state.drive === 'lever' ? 'lever works' : 'sliders work'} the engine now; choose \u201cscene\u201d there to hear the scene\u2019s own revs.` : '');
    if (performance.now() > (this.held.get('planned') || 0)) this.showPlanned(Boolean(state.planned && state.has_plan));
    this.sayCompare(state);
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

  // sayCompare says which of the two is heard, and what there is to compare.
  sayCompare(state) {
    for (const r of this.switches()) r.disabled = !state.has_plan;
    const heard = state.has_plan && state.planned ? 'Heard: with the plan.' : 'Heard: without the plan.';
    say(byId('compare-say'), `${heard} ${this.match(state)}`);
  }

  match(state) {
    const plan = this.plan || {};
    if (!state.has_plan) {
      if (plan.error) return 'There is none: ' + plan.error;
      const far = [plan.doing, plan.all ? `${plan.done} of ${plan.all}` : ''].filter(Boolean).join(', ');
      return `It is being worked out${far ? ` (${far})` : ''} and heard once it is ready. You can play already.`;
    }
    if (!state.playing) return 'Play a scene and switch while it runs: both are equally loud.';
    const down = -(state.match_db || 0);
    return down < 0.05 ? 'Both equally loud: the other is turned down.' : `Both equally loud: this one is turned down ${fixed(down, 1)} dB.`;
  }

  // blank is for when nothing is known of the scene.
  blank() {
    this.state = {};
    say(byId('position'), `${NONE} (the line is lost)`);
    for (const id of ['scene-hint', 'compare-say']) say(byId(id), '');
  }
}

// runs says what sounds without a scene, and how it ends.
function runs(state) {
  const how = state.drive === 'slider' ? 'runs under the sliders' : state.lever > 0 ? 'runs under the lever' : 'idles';
  return `The engine ${how}; Stop or Esc ends it.`;
}
