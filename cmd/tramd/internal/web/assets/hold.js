// Hold to move: motion lasts as long as a thumb, or the space bar, stays on the button.
//
// Signs of life go out from the press on, before the start, by the key of the arming. Whatever ends the hold (lifted, slid off by
// the system, the page hidden, left, reloaded or frozen, another window in front) lets go at once, by a beacon that outlives the page.
// A start that is still on its way then starts nothing, and where no sign comes through, the daemon stops the arm by itself.
import { send } from './api.js';

const every = 300; // ms from one sign to the next; the daemon waits 2 s
const lostAfter = 1500; // ms without an answer to a sign, after which the page gives up holding

// holder makes a button hold a motion. key() is what the arming gave; start(key) begins the motion; ended(why) hears the end, with the
// daemon's reason where it has one.
export function holder(button, { key, start, ended }) {
  let held = null; // { key, beat, answered } of the hold in hand

  const beat = async (mine) => {
    try {
      await fetch('/api/v1/motion/hold', {
        method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ key: mine.key }), signal: AbortSignal.timeout(lostAfter),
      }).then(async (answer) => {
        if (!answer.ok) throw new Error((await answer.json()).error);
      });
      mine.answered = performance.now();
    } catch (e) {
      if (held === mine && (!(e instanceof TypeError) && e.name !== 'TimeoutError' || performance.now() - mine.answered > lostAfter)) letGo(e);
    }
  };

  const letGo = (why) => {
    const mine = held;
    if (!mine) return;
    held = null;
    clearInterval(mine.beat);
    button.classList.remove('held');
    const body = new Blob([JSON.stringify({ key: mine.key })], { type: 'application/json' });
    if (!navigator.sendBeacon('/api/v1/motion/release', body)) send('POST', '/api/v1/motion/release', { key: mine.key }).catch(() => {});
    ended(why instanceof Error ? why : null);
  };

  const press = async () => {
    const k = key();
    if (held || !k) return;
    const mine = { key: k, answered: performance.now() };
    held = mine;
    button.classList.add('held');
    mine.beat = setInterval(() => beat(mine), every);
    await beat(mine);
    if (held !== mine) return; // let go meanwhile
    try {
      await start(k);
    } catch (e) {
      if (held === mine) letGo(e);
    }
  };

  button.addEventListener('pointerdown', (e) => {
    if (e.button !== 0) return;
    e.preventDefault();
    try {
      button.setPointerCapture(e.pointerId); // a thumb that slides is still on it
    } catch {
      return; // it was lifted already
    }
    press();
  });
  for (const kind of ['pointerup', 'pointercancel', 'lostpointercapture']) button.addEventListener(kind, letGo);
  button.addEventListener('contextmenu', (e) => e.preventDefault()); // a long press is what is wanted
  button.addEventListener('click', (e) => e.preventDefault());
  button.addEventListener('keydown', (e) => {
    if (e.key !== ' ' && e.key !== 'Enter') return;
    e.preventDefault();
    if (!e.repeat) press();
  });
  button.addEventListener('keyup', letGo);
  button.addEventListener('blur', letGo);
  addEventListener('blur', letGo);
  addEventListener('pagehide', letGo);
  document.addEventListener('freeze', letGo);
  document.addEventListener('visibilitychange', () => { if (document.hidden) letGo(); });
  return { letGo, holds: () => Boolean(held) };
}
