// The audio thread: plays the blocks that the worker hands over, in order, and
// reports what it consumed. Its consumption is the clock of the whole bench.

const SIZE = 1 << 17; // frames in the ring, 2.7 s at 48 kHz
const REPORT = 4; // quanta between two reports, 10.7 ms at 48 kHz
const HUSH_S = 0.005; // ramp of Silence
const RISE = 128; // frames of fade-in after a gap
const PATIENCE_S = 0.25; // wait at most so long for the lead to fill

class Bench extends AudioWorkletProcessor {
  constructor() {
    super();
    this.left = new Float32Array(SIZE);
    this.right = new Float32Array(SIZE);
    this.line = null;
    this.epoch = 0;
    this.underrunsInAll = 0;
    this.lead = 0;
    this.gain = 1;
    this.hushed = false;
    this.quanta = 0;
    this.begin(0);
    this.port.onmessage = (e) => this.fromPage(e.data);
  }

  begin(epoch) {
    this.epoch = epoch;
    this.read = 0;
    this.write = 0;
    this.marks = []; // where a newer control's effect begins
    this.lastSeq = -1;
    this.underruns = 0;
    this.filling = true;
    this.waited = 0;
    this.rise = 0;
    this.flowing = epoch > 0;
    this.lastL = 0;
    this.lastR = 0;
  }

  fromPage(m) {
    if (m.line) {
      this.line = m.line;
      this.line.onmessage = (e) => this.fromWorker(e.data);
    } else if (m.hush !== undefined) {
      this.hushed = m.hush;
      // What was rendered before a Silence never sounds, however late it comes.
      if (m.hush) this.blank(this.read + Math.ceil(HUSH_S * sampleRate), this.write);
    }
  }

  fromWorker(m) {
    if (m.begin !== undefined) this.begin(m.begin);
    else if (m.hold) this.flowing = false;
    else if (m.block) this.take(m.block);
  }

  take(buffer) {
    const head = new DataView(buffer);
    if (buffer.byteLength < 16 || head.getUint8(0) !== 1) return;
    const frames = head.getUint16(2, true);
    const seq = head.getUint32(8, true);
    this.lead = head.getUint32(12, true);
    if (buffer.byteLength < 16 + frames * 8 || this.write - this.read + frames > SIZE) return;
    if (head.getUint8(1) & 1 && this.write === this.read) this.filling = true;
    if (seq !== this.lastSeq) {
      this.lastSeq = seq;
      this.marks.push({ at: this.write, seq });
    }
    const samples = new Float32Array(buffer, 16, frames * 2);
    for (let i = 0; i < frames; i++) {
      const p = (this.write + i) % SIZE;
      this.left[p] = samples[2 * i];
      this.right[p] = samples[2 * i + 1];
    }
    if (this.hushed) this.blank(this.write, this.write + frames);
    this.write += frames;
    this.flowing = true;
  }

  blank(from, to) {
    for (let i = from; i < to; i++) {
      this.left[i % SIZE] = 0;
      this.right[i % SIZE] = 0;
    }
  }

  ready() {
    const queued = this.write - this.read;
    if (queued > 0) this.waited += 128;
    return queued >= Math.max(128, this.lead) || (queued >= 128 && this.waited > PATIENCE_S * sampleRate);
  }

  process(_, outputs) {
    const [l, r] = outputs[0];
    if (this.filling && this.ready()) {
      this.filling = false;
      this.waited = 0;
      this.rise = 0;
    }
    let n = 0;
    if (!this.filling) n = Math.min(l.length, this.write - this.read);
    const step = 1 / (HUSH_S * sampleRate);
    for (let i = 0; i < l.length; i++) {
      this.gain = this.hushed ? Math.max(0, this.gain - step) : Math.min(1, this.gain + step);
      if (i < n) {
        const p = (this.read + i) % SIZE;
        const up = this.rise < RISE ? this.rise++ / RISE : 1;
        this.lastL = this.left[p] * up;
        this.lastR = this.right[p] * up;
      } else {
        this.lastL *= 0.95;
        this.lastR *= 0.95;
      }
      l[i] = this.lastL * this.gain;
      r[i] = this.lastR * this.gain;
    }
    this.tellMarks(n);
    this.read += n;
    if (!this.filling && n < l.length) {
      this.filling = true;
      if (this.flowing) {
        this.underruns++;
        this.underrunsInAll++;
      }
    }
    if (++this.quanta % REPORT === 0) this.report();
    return true;
  }

  tellMarks(n) {
    while (this.marks.length && this.marks[0].at < this.read + n) {
      const m = this.marks.shift();
      const inMs = (Math.max(0, m.at - this.read) / sampleRate) * 1000;
      this.port.postMessage({ seq: m.seq, at: Date.now() + inMs });
    }
  }

  report() {
    if (this.line && this.epoch) {
      this.line.postMessage({ epoch: this.epoch, frames: this.read, underruns: this.underruns });
    }
    if (this.quanta % (REPORT * 16) === 0) {
      this.port.postMessage({ underruns: this.underrunsInAll, lead: this.lead, queued: this.write - this.read });
    }
  }
}

registerProcessor('bench', Bench);
