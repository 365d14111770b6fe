// The bench page: reads the package, opens the line, and hands each message
// to the panel it concerns.

import { byId, say, fixed, Held } from './form.js';
import { Sound } from './sound.js';
import { Lever } from './lever.js';
import { Scene } from './scene.js';
import { Meters } from './meters.js';
import { Meetings } from './map.js';

const WARNING_MS = 10000;

class Page {
  constructor(pack) {
    this.pack = pack;
    this.state = {};
    this.line = 'opening';
    this.started = false;
    this.sound = new Sound({
      line: (m) => this.onLine(m),
      words: (m) => this.onWords(m),
      standing: () => this.showStanding(),
      latency: () => this.showLine(),
      health: () => this.showLine(),
    });
    const wakeUp = () => this.wakeUp();
    const settle = () => this.settle();
    this.lever = new Lever(pack, this.sound, wakeUp);
    this.scene = new Scene(pack, this.sound, wakeUp, settle, () => this.lever.handBack());
    this.meters = new Meters(pack, this.sound);
    this.map = new Meetings(this.sound, wakeUp);
    this.listen();
    this.care();
    this.sound.open();
  }

  listen() {
    byId('start').addEventListener('click', () => this.toggle());
    byId('silence').addEventListener('click', () => this.silence());
    addEventListener('keydown', (e) => {
      if (e.code === 'Escape') this.silence();
    }, { capture: true });
    const volume = byId('volume');
    volume.value = this.pack.volume_db;
    this.volume = new Held(volume, (v) => {
      say(byId('volume-text'), fixed(v, 0) + ' dB');
      volume.setAttribute('aria-valuetext', fixed(v, 0) + ' decibel');
    });
    volume.addEventListener('input', () => {
      this.settle();
      this.volume.touch();
      this.sound.send({ do: 'volume', db: Number(volume.value) });
    });
    byId('notice-act').addEventListener('click', () => this.act && this.act());
    // After a mouse click the focus goes back to the page, so that Space works
    // the lever; who walks by Tab keeps the focus.
    addEventListener('click', (e) => {
      const own = e.target.closest?.('button, input[type=radio], input[type=checkbox]');
      if (own && e.detail > 0) own.blur();
    });
    document.addEventListener('visibilitychange', () => {
      if (document.hidden) return;
      this.sound.worker.postMessage({ retry: true });
      if (this.sound.wanted && this.sound.context?.state === 'suspended') this.sound.context.resume().catch(() => {});
    });
    navigator.mediaDevices?.addEventListener('devicechange', () => {
      if (!this.started) return;
      this.notice('The sound devices changed. If nothing is heard, open the device again.', 'Open the device again', () => {
        this.notice('');
        this.sound.reopen(this.pack.sample_rate_hz).then(() => this.expose());
      });
    });
  }

  care() {
    say(byId('ceiling'), `Nothing leaves louder than ${fixed(this.pack.ceiling_dbtp, 0)} dBTP, whatever the lever does. Volume changes glide.`);
    const times = this.pack.allowed.map((a) => `${fixed(a.dba, 0)} dB(A) ${lasting(a.hours)}`);
    say(byId('allowed'), times.join(', ') + ' (NIOSH).');
  }

  async toggle() {
    if (this.running()) {
      await this.sound.pause();
      return;
    }
    if (await this.begin()) byId('lever').focus({ preventScroll: true });
  }

  // begin starts the sound, or goes on with it; take takes it from another tab.
  async begin(take = false) {
    if (this.line === 'busy' || this.line === 'taken') {
      this.line = 'open';
      this.notice('');
    }
    try {
      await this.sound.start(this.pack.sample_rate_hz, take);
    } catch (err) {
      this.notice(`The browser gave no sound: ${err.message}`, byId('start').textContent, () => this.toggle());
      return false;
    }
    if (!this.started) this.volume.touch(); // what comes now may still be the last player's
    this.started = true;
    this.expose();
    return true;
  }

  // expose shows the sound's graph, so that it can be measured from outside.
  expose() {
    window.bench.context = this.sound.context;
    window.bench.output = this.sound.output;
    this.showStanding();
  }

  running() {
    return this.sound.wanted && this.sound.context?.state === 'running';
  }

  silence() {
    this.lever.handBack();
    this.sound.hush();
    this.showStanding();
  }

  // wakeUp is called whenever the hand asks for sound: that starts it, as quiet
  // as the button does. What is sent right after waits for the start.
  wakeUp() {
    this.sound.unhush();
    if (this.running() || this.line === 'lost' || this.line === 'denied') return;
    if (navigator.userActivation && !navigator.userActivation.hasBeenActive) {
      this.notice('The sound is not running.', byId('start').textContent, () => this.toggle());
      return;
    }
    const first = !this.started && !this.sound.starting;
    const begun = this.begin();
    if (first) begun.then((ok) => ok && this.warn());
  }

  // settle is called when the hand changes how it is heard: the bench takes that
  // only from a tab that plays.
  settle() {
    if (!this.started) this.wakeUp();
  }

  // warn says that it sounds, and how loud, where Start was not pressed.
  warn() {
    const text = `The sound is on, at ${fixed(this.pack.volume_db, 0)} dB. Start low: a headphone\u2019s level cannot be known here.`;
    this.notice(text, 'Close', () => this.notice(''));
    setTimeout(() => {
      if (byId('notice-text').textContent === text) this.notice('');
    }, WARNING_MS);
  }

  onLine(m) {
    const watching = this.line === 'busy' || this.line === 'taken';
    if (m.line === 'open') {
      if (watching) return; // another tab still plays
      this.notice('');
    }
    this.line = m.line;
    if (m.line === 'lost' || m.line === 'denied') this.blank();
    if (m.line === 'lost') {
      this.lever.letGo();
      this.notice(`The line to the bench is lost. Tries again in ${fixed(m.inMs / 1000, 1)} s; if the program was stopped, start it and open its new address.`, 'Try now', () => this.sound.worker.postMessage({ retry: true }));
    }
    if (m.line === 'denied') this.notice('The bench was restarted; open its new address.');
    this.showStanding();
  }

  onWords(m) {
    if (m.kind === 'state') this.onState(m);
    else if (m.kind === 'plan') {
      this.scene.showPlan(m);
      this.map.waiting(m);
      if (m.ready) this.map.load();
    } else if (m.kind === 'error') this.notice(m.text, 'Close', () => this.notice(''));
    else if (m.kind === 'busy') this.elsewhere('busy', 'Another tab is playing this bench.', 'Take over');
    else if (m.kind === 'silenced') this.elsewhere('busy', 'The other tab, which plays this bench, is silenced.', 'Take over');
    else if (m.kind === 'taken') this.elsewhere('taken', 'Another tab took the bench over.', 'Take it back');
  }

  elsewhere(line, text, action) {
    this.line = line;
    this.sound.giveUp();
    this.notice(text, action, () => this.begin(true));
    this.showStanding();
  }

  onState(state) {
    this.state = state;
    window.bench.state = state;
    this.sound.settle(state.silenced);
    // Before the start the last player's volume is none of this tab's.
    if (this.started) this.volume.follow(state.volume_db);
    this.lever.show(state);
    this.scene.show(state);
    this.meters.show(state);
    this.map.show(this.scene.isPlanned());
    this.showStanding();
  }

  // blank takes away what is no longer known.
  blank() {
    this.state = {};
    this.lever.blank();
    this.scene.blank();
    this.meters.blank();
  }

  // notice says what went wrong and offers the one thing to do about it.
  notice(text, action, act) {
    byId('notice').hidden = !text;
    say(byId('notice-text'), text);
    byId('notice-act').hidden = !action;
    say(byId('notice-act'), action || '');
    this.act = act;
  }

  showStanding() {
    const context = this.sound.context?.state;
    const hushed = this.sound.hushed || (this.running() && this.state.silenced);
    let kind = 'waiting';
    let words = 'Waiting: press Start the sound';
    if (this.line === 'lost') [kind, words] = ['trouble', 'The line is lost'];
    else if (this.line === 'denied') [kind, words] = ['trouble', 'Open the new address'];
    else if (this.line === 'busy' || this.line === 'taken') [kind, words] = ['trouble', 'Another tab plays'];
    else if (this.started && !this.sound.wanted) words = 'Paused';
    else if (this.started && context !== 'running') [kind, words] = ['trouble', 'Interrupted: press Go on'];
    else if (hushed) [kind, words] = ['hushed', 'Silenced. Rev or play to go on'];
    else if (this.running()) [kind, words] = ['running', 'Sound is running'];
    const bar = byId('standing');
    say(bar, words);
    bar.dataset.kind = kind;
    const start = byId('start');
    let label = 'Start the sound';
    if (this.running()) label = 'Pause the sound';
    else if (this.started) label = 'Go on';
    say(start, label);
    start.classList.toggle('quiet', this.running());
    byId('silence').classList.toggle('on', Boolean(hushed));
  }

  showLine() {
    const { health, latencyMs } = this.sound;
    const rate = this.sound.context?.sampleRate || this.pack.sample_rate_hz;
    say(byId('n-underruns'), String(health.underruns));
    say(byId('n-lead'), fixed((health.lead / rate) * 1000, 0));
    say(byId('n-latency'), fixed(latencyMs, 0));
    say(byId('n-device'), fixed(this.sound.deviceMs(), 0));
    window.bench.line = { underruns: health.underruns, leadFrames: health.lead, latencyMs };
  }
}

function lasting(hours) {
  if (hours >= 1) return `${Number(hours.toFixed(1))} h`;
  return `${Math.round(hours * 60)} min`;
}

async function main() {
  window.bench = { context: null, output: null, state: null, line: null };
  let r;
  try {
    r = await fetch('/package.json', { cache: 'no-store' });
  } catch {
    say(byId('standing'), 'The bench does not answer');
    return;
  }
  if (!r.ok) {
    say(byId('standing'), r.status === 403 ? 'The bench was restarted; open its new address' : `The bench answered ${r.status}`);
    return;
  }
  const pack = await r.json();
  say(byId('title'), pack.title);
  document.title = pack.title + ' \u2013 bench';
  new Page(pack);
}

main();
