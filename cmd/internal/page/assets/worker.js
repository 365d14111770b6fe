// Owns the WebSocket, so that the page's own work never starves the sound:
// audio blocks go straight on to the worklet, words go to the page.

const FIRST_WAIT_MS = 500;
const LONGEST_WAIT_MS = 8000;
const STALL_MS = 2000;

let socket = null;
let worklet = null;
let wanted = false; // the page wants sound
let flowing = false; // the server was asked for it and did not refuse
let epoch = 0;
let wait = FIRST_WAIT_MS;
let timer = 0;
let lastBlock = 0;
let leaving = false; // taken by another tab: come back to look on, not to play
let played = false; // this page has played and its turn has not ended

const tell = (m) => self.postMessage(m);
const isOpen = () => socket && socket.readyState === WebSocket.OPEN;

function send(m) {
  if (isOpen()) socket.send(JSON.stringify(m));
}

function begin(take) {
  if (!worklet || !isOpen()) return;
  epoch++;
  worklet.postMessage({ begin: epoch });
  lastBlock = performance.now();
  flowing = true;
  send({ do: 'start', take: Boolean(take), again: played });
}

function giveUp() {
  wanted = false;
  played = false;
  hold();
}

function hold() {
  flowing = false;
  if (worklet) worklet.postMessage({ hold: true });
}

// open opens the line; first, if given, is sent before all else.
function open(take, first) {
  clearTimeout(timer);
  leaving = false;
  const s = new WebSocket(`${self.location.protocol === 'https:' ? 'wss' : 'ws'}://${self.location.host}/sound`);
  socket = s;
  s.binaryType = 'arraybuffer';
  s.onopen = () => {
    wait = FIRST_WAIT_MS;
    tell({ line: 'open' });
    if (first) send(first);
    if (wanted) begin(take);
  };
  s.onmessage = (e) => {
    if (typeof e.data !== 'string') {
      lastBlock = performance.now();
      played = true;
      if (worklet) worklet.postMessage({ block: e.data }, [e.data]);
      return;
    }
    const m = JSON.parse(e.data);
    if (m.kind === 'taken') leaving = true;
    if (m.kind === 'taken' || m.kind === 'busy') giveUp();
    tell({ words: m });
  };
  s.onclose = () => {
    if (socket !== s) return;
    socket = null;
    hold();
    if (leaving) open(false);
    else again();
  };
}

// A refused handshake shows no status to scripts, so ask for the package.
async function again() {
  try {
    const r = await fetch('/package.json', { cache: 'no-store' });
    if (r.status === 403) {
      tell({ line: 'denied' });
      return;
    }
  } catch {
    // not there at all: try again below
  }
  tell({ line: 'lost', inMs: wait });
  clearTimeout(timer);
  timer = setTimeout(() => open(false), wait);
  wait = Math.min(wait * 2, LONGEST_WAIT_MS);
}

function fromWorklet(m) {
  if (m.epoch !== epoch || !flowing) return;
  send({ do: 'played', frames: m.frames, underruns: m.underruns });
  if (performance.now() - lastBlock > STALL_MS) begin(false);
}

self.onmessage = (e) => {
  const m = e.data;
  if (m.open) open(false);
  else if (m.worklet) {
    worklet = m.worklet;
    worklet.onmessage = (w) => fromWorklet(w.data);
  } else if (m.start) {
    wanted = true;
    if (isOpen()) begin(m.take);
    else if (!socket || socket.readyState !== WebSocket.CONNECTING) open(m.take);
  } else if (m.pause) {
    wanted = false;
    hold();
    send({ do: 'pause' });
  } else if (m.giveUp) giveUp();
  else if (m.silence) {
    if (isOpen()) send({ do: 'silence' });
    else if (!socket) open(false, { do: 'silence' });
  } else if (m.retry) {
    if (!socket) open(false);
  } else if (m.send) send(m.send);
};
