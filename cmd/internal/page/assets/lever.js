// The engine's panel: the lever under key, mouse or finger, the sliders, the
// revs with their bands and lamp.

import { byId, make, say, revs, fixed, NONE, Held } from './form.js';

// Elements that use the Space key themselves.
const OWN_SPACE = 'button:not(#lever), select, summary, textarea, a[href], input:not([type=range])';

export class Lever {
  constructor(pack, sound, wakeUp) {
    this.pack = pack;
    this.sound = sound;
    this.wakeUp = wakeUp;
    this.drive = 'scene';
    this.driveUntil = 0;
    this.holds = new Set();
    byId('engine').hidden = !pack.has_engine;
    byId('no-engine').hidden = pack.has_engine;
    if (!pack.has_engine) return;
    this.drawStrip();
    this.listen();
    this.sliders();
  }

  drawStrip() {
    const { idle_rpm: lo, redline_rpm: hi } = this.pack;
    this.at = (rpm) => Math.max(0, Math.min(1, (rpm - lo) / (hi - lo))) * 100;
    const box = byId('strip-bands');
    for (const b of this.bands()) {
      const el = make('div', { className: b.catch ? 'strip-band catch' : 'strip-band' }, make('span', {}, b.name));
      el.style.left = this.at(b.from_rpm) + '%';
      el.style.width = this.at(b.to_rpm) - this.at(b.from_rpm) + '%';
      el.style.setProperty('--lamp', b.lamp || 'transparent');
      box.append(el);
    }
    const marks = new Set([lo, hi, ...this.bands().flatMap((b) => [b.from_rpm, b.to_rpm])]);
    const scale = byId('strip-scale');
    let last = -Infinity;
    for (const rpm of [...marks].sort((a, b) => a - b)) {
      const x = this.at(rpm);
      if (x - last < 11) continue;
      last = x;
      const el = make('span', {}, revs(rpm));
      el.style.left = x + '%';
      if (x > 95) el.className = 'last';
      if (x < 5) el.className = 'first';
      scale.append(el);
    }
  }

  bands() {
    return this.pack.rev_bands || [];
  }

  // bandAt finds the band. The lowest holds all below it too, as an engine hunts
  // around its idle revs, and the uppermost all above.
  bandAt(rpm) {
    const bands = this.bands();
    const lowest = bands.reduce((a, b) => (b.from_rpm < a.from_rpm ? b : a), bands[0]);
    const uppermost = bands.reduce((a, b) => (b.to_rpm > a.to_rpm ? b : a), bands[0]);
    return bands.find((b) => rpm >= b.from_rpm && rpm < b.to_rpm) || (rpm < lowest?.from_rpm ? lowest : rpm >= uppermost?.to_rpm ? uppermost : null);
  }

  listen() {
    const pad = byId('lever');
    pad.addEventListener('pointerdown', (e) => {
      if (e.button !== 0) return;
      try { pad.setPointerCapture(e.pointerId); } catch { /* a made-up pointer */ }
      this.press('p' + e.pointerId, e.timeStamp);
    });
    for (const end of ['pointerup', 'pointercancel', 'lostpointercapture']) {
      pad.addEventListener(end, (e) => this.release('p' + e.pointerId, e.timeStamp));
    }
    pad.addEventListener('contextmenu', (e) => e.preventDefault());
    addEventListener('keydown', (e) => {
      const onPad = document.activeElement === pad;
      const lever = e.code === 'Space' ? onPad || !e.target.closest?.(OWN_SPACE) : e.code === 'Enter' && onPad;
      if (!lever || e.ctrlKey || e.altKey || e.metaKey) return;
      e.preventDefault(); // no page scroll, no click
      if (!e.repeat) this.press(e.code, e.timeStamp);
    });
    addEventListener('keyup', (e) => {
      if (!this.holds.has(e.code)) return;
      e.preventDefault();
      this.release(e.code, e.timeStamp);
    });
    addEventListener('blur', () => this.letGo());
    document.addEventListener('visibilitychange', () => this.letGo());
    addEventListener('pagehide', () => this.letGo());
    for (const r of document.querySelectorAll('input[name=drive]')) {
      r.addEventListener('change', () => this.choose(r.value));
    }
  }

  press(by, at) {
    const first = this.holds.size === 0;
    this.holds.add(by);
    if (!first) return;
    byId('lever').classList.add('held');
    this.choose('lever');
    this.sound.timed({ do: 'lever', value: 1 }, at);
  }

  release(by, at) {
    if (!this.holds.delete(by) || this.holds.size) return;
    byId('lever').classList.remove('held');
    this.sound.timed({ do: 'lever', value: 0 }, at);
  }

  letGo() {
    for (const by of [...this.holds]) this.release(by, performance.now());
  }

  choose(drive) {
    if (drive !== 'scene') this.wakeUp();
    this.drive = drive;
    this.driveUntil = performance.now() + 700;
    this.sound.send({ do: 'drive', by: drive });
    this.showDrive();
  }

  showDrive() {
    for (const r of document.querySelectorAll('input[name=drive]')) r.checked = r.value === this.drive;
  }

  sliders() {
    const rpm = byId('slide-rpm');
    const load = byId('slide-load');
    rpm.min = this.pack.idle_rpm;
    rpm.max = this.pack.redline_rpm;
    rpm.value = this.pack.idle_rpm;
    const held = [
      new Held(rpm, (v) => say(byId('slide-rpm-text'), revs(v) + ' rpm')),
      new Held(load, (v) => say(byId('slide-load-text'), fixed(v * 100, 0) + ' %')),
    ];
    for (const h of held) {
      h.input.addEventListener('input', (e) => {
        h.touch();
        if (this.drive !== 'slider') this.choose('slider');
        else this.wakeUp();
        this.sound.timed({ do: 'slide', rpm: Number(rpm.value), load: Number(load.value) }, e.timeStamp);
      });
    }
  }

  // handBack follows the bench at Silence and Stop: the scene has the engine again.
  handBack() {
    this.letGo();
    if (!this.pack.has_engine) return;
    this.drive = 'scene';
    this.driveUntil = performance.now() + 700;
    this.showDrive();
  }

  show(state) {
    if (!this.pack.has_engine) return;
    if (performance.now() > this.driveUntil && state.drive && state.drive !== this.drive) {
      this.drive = state.drive;
      this.showDrive();
    }
    const rpm = state.rpm;
    const turning = typeof rpm === 'number';
    say(byId('rpm'), turning ? revs(Math.round(rpm / 10) * 10) : NONE);
    const needle = byId('needle');
    needle.hidden = !turning;
    if (turning) needle.style.left = this.at(rpm) + '%';
    const band = turning ? this.bandAt(rpm) : null;
    const lamp = byId('lamp');
    lamp.classList.toggle('lit', Boolean(band));
    if (band) lamp.style.setProperty('--lamp', band.lamp || '#888');
    let words = 'no engine sounds';
    if (band) words = band.name + (band.catch ? ' \u2013 the band to catch' : '');
    else if (turning) words = this.bands().length ? 'outside the bands' : '';
    if (state.limiting) words += ', rev limiter';
    say(byId('band'), words);
  }

  // blank is for when nothing is known of the engine.
  blank() {
    if (!this.pack.has_engine) return;
    this.show({});
    say(byId('band'), 'the line is lost');
  }
}
