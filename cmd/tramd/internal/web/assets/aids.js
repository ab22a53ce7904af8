// Aids for someone whose eyes and hands are elsewhere: sound, a screen that stays on, keys. Each is off until asked for and
// says what it does.
import { byId, setText } from './dom.js';
import { t } from './t.js';

let audio = null;
let lock = null;
let keepOn = false;
let last = null;

// A browser lets a page sound only after a touch, and on some phones once more after it was in the background.
async function soundOn() {
  const Context = window.AudioContext ?? window.webkitAudioContext;
  if (!Context) throw new Error(t('aids.nosound'));
  audio ??= new Context();
  await audio.resume();
}

export const sounding = () => audio !== null && audio.state === 'running';

// tone sounds for so many seconds at so many hertz; a soft beginning and end, since a click says nothing.
export function tone(hertz, seconds, after = 0) {
  if (!sounding()) return;
  const t = audio.currentTime + after;
  const o = audio.createOscillator();
  const g = audio.createGain();
  o.frequency.value = hertz;
  g.gain.setValueAtTime(0, t);
  g.gain.linearRampToValueAtTime(0.25, t + 0.02);
  g.gain.setValueAtTime(0.25, t + seconds - 0.02);
  g.gain.linearRampToValueAtTime(0, t + seconds);
  o.connect(g).connect(audio.destination);
  o.start(t);
  o.stop(t + seconds);
}

// hear sounds what must not be missed: a station taken (one tone), a sweep ended (two, rising), a port lost
// (two, falling).
export function hear(state) {
  const now = {
    taken: (state.sweep.stations ?? []).filter((s) => s.state === 'taken').length,
    phase: state.sweep.phase,
    lost: (state.devices ?? []).filter((d) => d.state === 'lost').length,
  };
  if (last) {
    if (now.lost > last.lost) { tone(660, 0.2); tone(330, 0.4, 0.22); }
    else if (last.phase !== 'idle' && now.phase === 'idle') { tone(523, 0.15); tone(784, 0.3, 0.17); }
    else if (now.taken > last.taken) tone(880, 0.12);
  }
  last = now;
}

async function stayOn() {
  if (!navigator.wakeLock) throw new Error(t('aids.noscreen'));
  lock = await navigator.wakeLock.request('screen');
  lock.addEventListener('release', () => { lock = null; show(); });
}

function show() {
  byId('sound').setAttribute('aria-pressed', String(sounding()));
  byId('awake').setAttribute('aria-pressed', String(lock !== null));
}

async function attempt(work) {
  try {
    await work();
    setText(byId('aids-answer'), '');
  } catch (e) {
    setText(byId('aids-answer'), e.message);
  }
  show();
}

const keys = { t: 'take', s: 'start', k: 'skip', r: 'redo' };

function key(e) {
  if (e.ctrlKey || e.altKey || e.metaKey || e.repeat || e.target.closest('input, select, textarea')) return;
  const button = byId(keys[e.key.toLowerCase()] ?? '');
  // A foot switch is a keyboard with one key, commonly Enter or space: it takes the station, unless a button has the focus.
  const pedal = (e.key === 'Enter' || e.key === ' ') && (e.target === document.body || e.target.id === 'band');
  const take = pedal ? byId('take') : button;
  if (!take || take.disabled || take.hidden || document.querySelector('dialog[open]')) return;
  e.preventDefault();
  take.click();
}

export function wireAids() {
  byId('sound').addEventListener('click', () => attempt(async () => {
    if (sounding()) await audio.suspend();
    else { await soundOn(); tone(660, 0.12); }
  }));
  byId('awake').addEventListener('click', () => attempt(async () => {
    keepOn = lock === null;
    if (keepOn) await stayOn();
    else await lock.release();
  }));
  document.addEventListener('visibilitychange', () => {
    if (document.visibilityState === 'visible' && keepOn && lock === null) attempt(stayOn);
    show();
  });
  document.addEventListener('keydown', key);
  show();
}
