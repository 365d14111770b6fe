// The page's end of the sound: the AudioContext with its worklet, and the
// worker that owns the line. Everything the page asks of the server goes
// through here.

export class Sound {
  constructor(on) {
    this.on = on; // {line, words, standing, latency, health}
    this.context = null;
    this.output = null;
    this.node = null;
    this.wanted = false;
    this.seq = 0;
    this.presses = [];
    this.latencyMs = null;
    this.health = { underruns: 0, lead: 0, queued: 0 };
    this.hushed = false;
    this.hushedAt = 0;
    this.wake = false;
    this.starting = null; // the start that is under way
    this.waiting = []; // what the hand asked for meanwhile
    this.worker = new Worker('/assets/worker.js');
    this.worker.onmessage = (e) => this.fromWorker(e.data);
  }

  open() {
    this.worker.postMessage({ open: true });
  }

  // send asks the server. While the sound starts, all but silence waits for it.
  send(message) {
    if (this.starting) this.waiting.push(message);
    else this.worker.postMessage({ send: message });
  }

  // timed sends a control that carries a number, so that its way to the ear is measured from at (a page time).
  timed(message, at) {
    this.seq++;
    if (at !== undefined && !this.starting) this.presses.push({ seq: this.seq, at: performance.timeOrigin + at });
    if (this.presses.length > 20) this.presses.shift();
    this.send({ ...message, seq: this.seq });
  }

  // start must be called from a click or key: browsers let no page sound unasked.
  start(rateHz, take = false) {
    this.wanted = true;
    if (!this.starting) {
      this.starting = this.begin(rateHz, take).finally(() => {
        this.starting = null;
        const waiting = this.waiting.splice(0);
        if (this.wanted) waiting.forEach((m) => this.send(m));
      });
    }
    return this.starting;
  }

  async begin(rateHz, take) {
    try {
      if (!this.context || this.context.state === 'closed') await this.build(rateHz);
      await Promise.race([this.context.resume(), late()]);
    } catch (err) {
      this.wanted = false;
      throw err;
    }
    if (this.wanted) this.worker.postMessage({ start: true, take });
    this.on.standing();
  }

  // giveUp stops asking for sound: another tab has it.
  giveUp() {
    this.wanted = false;
    this.waiting = [];
    this.worker.postMessage({ giveUp: true });
  }

  async pause() {
    this.wanted = false;
    this.worker.postMessage({ pause: true });
    if (this.context) await this.context.suspend();
    this.on.standing();
  }

  async build(rateHz) {
    this.hushed = false;
    this.wake = false;
    const context = new AudioContext({ sampleRate: rateHz, latencyHint: 'interactive' });
    this.context = context;
    context.onstatechange = () => this.on.standing();
    await context.audioWorklet.addModule('/assets/worklet.js');
    const node = new AudioWorkletNode(context, 'bench', { numberOfInputs: 0, outputChannelCount: [2] });
    const output = new GainNode(context);
    node.connect(output).connect(context.destination);
    const line = new MessageChannel();
    node.port.onmessage = (e) => this.fromWorklet(e.data);
    node.port.postMessage({ line: line.port1 }, [line.port1]);
    this.worker.postMessage({ worklet: line.port2 }, [line.port2]);
    this.node = node;
    this.output = output;
  }

  // reopen lets the browser choose its device anew.
  async reopen(rateHz) {
    if (this.context) await this.context.close();
    this.context = null;
    await this.start(rateHz);
  }

  // hush silences at once, here; the server follows.
  hush() {
    this.hushed = true;
    this.wake = false;
    this.hushedAt = performance.now();
    if (this.node) this.node.port.postMessage({ hush: true });
    this.waiting = [];
    this.worker.postMessage({ silence: true });
  }

  // unhush says that the hand asked for sound again. It comes once everything
  // rendered before the silence has surely arrived.
  unhush() {
    if (this.hushed) this.wake = true;
  }

  settle(serverSilenced) {
    if (!this.hushed || !this.wake) return;
    const ms = performance.now() - this.hushedAt;
    if (ms < 50 || (!serverSilenced && ms < 250)) return;
    this.hushed = false;
    this.wake = false;
    if (this.node) this.node.port.postMessage({ hush: false });
  }

  deviceMs() {
    if (!this.context) return null;
    return (this.context.outputLatency || this.context.baseLatency || 0) * 1000;
  }

  fromWorker(m) {
    if (m.line) this.on.line(m);
    else if (m.words) this.on.words(m.words);
  }

  fromWorklet(m) {
    if (m.seq !== undefined) {
      let press = null;
      while (this.presses.length && this.presses[0].seq <= m.seq) press = this.presses.shift();
      if (!press) return;
      this.latencyMs = m.at - press.at + this.deviceMs();
      this.on.latency(this.latencyMs);
      return;
    }
    this.health = m;
    this.on.health(m);
  }
}

const START_MS = 4000;

// late fails when the browser lets a start wait for too long.
function late() {
  return new Promise((_, fail) => setTimeout(() => fail(new Error('it did not start; press the button again')), START_MS));
}
