// state holds everything the page knows, once. Code that changes it calls change. Each part of the page draws from it,
// once a frame however fast news comes.
export const state = {
  snap: null, // the newest snapshot of the daemon
  heard: 0, // performance.now() when it came
  curve: null, // of the sweep in hand
  lastCurve: null, // of the last stored sweep, for when there is none in hand
  news: { seconds: 0, stale: false, ever: false },
  view: 'now',
  run: null, // the number of the run that is open
  unitKey: remembered('unit') ?? (document.documentElement.dataset.unit || 'own'), // else as the configuration says
  may: { may_change: false, password_set: false },
  advice: null,
  adviceFailed: '',
  history: null,
  historyFailed: '',
};

const painters = [];
let waiting = false;

// A reader who asks for less motion gets two pictures a second instead of fifteen.
const calm = matchMedia('(prefers-reduced-motion: reduce)');

export function onPaint(draw) {
  painters.push(draw);
}

export function change(patch = {}) {
  Object.assign(state, patch);
  if (waiting) return;
  waiting = true;
  const draw = () => {
    waiting = false;
    for (const painter of painters) painter(state);
  };
  if (calm.matches) setTimeout(draw, 500);
  else requestAnimationFrame(draw);
}

export function remembered(key) {
  try { return localStorage.getItem(key); } catch { return null; }
}

export function remember(key, value) {
  try { localStorage.setItem(key, value); } catch { /* a private window forgets */ }
}

export const idle = () => state.snap?.sweep.phase === 'idle';
export const fresh = () => Boolean(state.snap) && !state.news.stale;
// may says whether a button may be offered: someone is logged in, or can log in once it is pressed.
export const may = () => fresh() && (state.may.may_change || state.may.password_set);
