// Start, take, abandon, log in and out. A button that cannot be used says why.
import { byId, setText } from './dom.js';

let armed = null; // what the daemon said when motion was armed: the first of two acts
let may = { may_change: false, password_set: false };
let state = null;
let stale = true;

export async function send(method, path, body) {
  const answer = await fetch(path, {
    method,
    headers: body === undefined ? {} : { 'Content-Type': 'application/json' },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  const said = await answer.json().catch(() => ({}));
  if (answer.status === 401) whoami();
  if (!answer.ok) throw new Error(said.error || `the daemon answered ${answer.status}`);
  return said;
}

async function attempt(work, where = 'answer') {
  const out = byId(where);
  setText(out, '');
  try {
    setText(out, (await work()) ?? '');
  } catch (e) {
    setText(out, e instanceof TypeError ? 'The daemon does not answer: is it running, and is this phone on the shop network?' : e.message);
  }
  refresh();
}

async function whoami() {
  try {
    may = await (await fetch('/api/v1/login')).json();
  } catch {
    // The stream tells the person that the daemon is gone; ask again when it is back.
  }
  refresh();
}

export function steer(next, old) {
  const back = stale && !old;
  state = next;
  stale = old;
  if (back) whoami();
  refresh();
}

// mayChange and idle say whether a button of another part can be used now.
export const mayChange = () => may.may_change && !stale && Boolean(state);
export const idle = () => state?.sweep.phase === 'idle';

function reason() {
  if (!may.may_change && !may.password_set) return 'Nothing can be changed from this page until there is a password: run “tramd password” on the machine and put what it prints as http.password_hash into the config.';
  if (!may.may_change) return 'Log in to start, steer or abandon a sweep.';
  if (stale || !state) return 'No news from the daemon: wait until the figures are live.';
  if (state.sweep.phase !== 'idle') return `Run ${state.sweep.run} is in hand: finish or abandon it before another is started. An abandoned run stays stored.`;
  return '';
}

function refresh() {
  const free = may.may_change && !stale && Boolean(state);
  const busy = free && state.sweep.phase !== 'idle';
  const typed = state?.angle.source === 'typed';
  const half = state?.sweep.kind === 'half-turn';
  const byHand = state?.angle.source === 'stations' || typed || half;
  const here = busy && (state.sweep.stations ?? []).some((s) => s.state === 'here');
  byId('start').disabled = !free || busy;
  byId('abandon').disabled = !busy;
  const marking = state?.angle.source === 'steady' && !half;
  byId('take').hidden = !(byHand || marking) || typed;
  byId('skip').hidden = byId('redo').hidden = !byHand;
  byId('skip').disabled = !here || half;
  byId('take').disabled = marking ? !busy || state.sweep.phase !== 'waiting' : !here;
  setText(byId('take'), marking ? 'The arm passes the mark now' : half ? 'Read here' : 'Take this station');
  byId('redo').disabled = !busy || !(state.sweep.stations ?? []).some((s) => s.state === 'taken' || s.state === 'skipped');
  byId('typed').hidden = !typed;
  byId('motion').hidden = !armed || !free || busy;
  setText(byId('start'), state?.angle.source === 'program' ? 'Arm the motion' : 'Start a sweep');
  byId('put').disabled = !here || !state.sweep.wanted;
  setText(byId('typed-what'), state?.sweep.wanted ? `Reading of ${state.sweep.wanted}` : 'Reading');
  byId('login').hidden = may.may_change || !may.password_set;
  byId('event').hidden = !may.may_change;
  byId('moved-log').disabled = !may.may_change;
  byId('logout-row').hidden = !may.may_change || !may.password_set;
  setText(byId('why'), reason());
}

// on does work when asked to, and says below what came of it.
export function on(id, kind, work, where) {
  byId(id).addEventListener(kind, (e) => {
    e.preventDefault();
    attempt(work, where);
  });
}

async function arm() {
  armed = await send('POST', '/api/v1/motion/arm', {});
  byId('motion-cautions').replaceChildren(...armed.cautions.map((text) => {
    const li = document.createElement('li');
    li.textContent = text;
    return li;
  }));
  setText(byId('motion-plan'), `${armed.commands.length} commands over about ${Math.round(armed.about_s)} s, and the time that readings take to settle. When anything is wrong “${armed.stop}” is sent.${retract(armed)}`);
  const mine = armed;
  setTimeout(() => { // the daemon forgets it then too
    if (armed === mine) armed = null;
    refresh();
  }, 58000);
  return 'Nothing moves yet.';
}

// What was typed of the machine's temperature goes with the start, and is typed anew the next time.
function warmth() {
  const typed = byId('warmth').value;
  byId('warmth').value = '';
  return typed === '' ? {} : { temperature_c: Number(typed) };
}

export function wire() {
  on('start-form', 'submit', async () => {
    if (state.angle.source === 'program') return arm();
    const { run } = await send('POST', '/api/v1/sweeps', { turns: Number(byId('turns').value) || 1, purpose: byId('purpose').value, ...warmth() });
    return `Run ${run} has begun.`;
  });
  on('motion', 'submit', async () => {
    const key = armed?.key;
    const name = byId('motion-name').value.trim();
    if (name !== state.machine) return `“${name}” is not the name of this machine, so nothing is moved.`;
    armed = null;
    byId('motion-name').value = '';
    const { run } = await send('POST', '/api/v1/motion/start', { key, purpose: byId('purpose').value, ...warmth() });
    return `Run ${run} has begun: the arm moves. “Abandon” stops it.`;
  });
  on('take', 'click', async () => {
    await send('POST', `/api/v1/sweeps/${state.sweep.run}/take`);
    return 'Taken.';
  });
  on('skip', 'click', async () => {
    await send('POST', `/api/v1/sweeps/${state.sweep.run}/skip`);
    return 'Skipped.';
  });
  on('redo', 'click', async () => {
    await send('POST', `/api/v1/sweeps/${state.sweep.run}/redo`);
    return 'The last station is to be taken again.';
  });
  on('typed', 'submit', async () => {
    const field = byId('typed-text');
    await send('POST', `/api/v1/sweeps/${state.sweep.run}/reading`, { text: field.value });
    field.value = '';
    return 'Put down.';
  });
  on('abandon', 'click', async () => {
    await send('DELETE', `/api/v1/sweeps/${state.sweep.run}`);
    return 'Abandoned. What was measured stays stored.';
  });
  on('login', 'submit', async () => {
    const field = byId('password');
    await send('POST', '/api/v1/login', { password: field.value });
    field.value = '';
    await whoami();
    return 'Logged in for 12 hours.';
  });
  on('logout', 'click', async () => {
    await send('POST', '/api/v1/logout');
    await whoami();
    return 'Logged out.';
  });
  on('event', 'submit', async () => {
    const field = byId('event-text');
    await send('POST', '/api/v1/events', { kind: byId('event-kind').value, text: field.value });
    field.value = '';
    return 'Logged.';
  });
  whoami();
}

// retract says that a stop may not be the end of it.
function retract(armed) {
  if (!armed.retract?.length) return '';
  return ` After some stops it moves once more, to retract (${armed.retract.join('; ')}): stay clear until the run has ended.`;
}
