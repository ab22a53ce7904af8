// Start, take, skip, give up. One button is the next act and stands out; one that cannot be used says why.
import { byId, make, setText } from './dom.js';
import { on, send } from './api.js';
import { acknowledged } from './caution.js';
import { holder } from './hold.js';
import { change, fresh, idle, may, state } from './state.js';
import { handed } from './places.js';
import { say } from './say.js';
import { t } from './t.js';

let armed = null; // what the daemon said when motion was armed: the first of two acts
let along = {}; // the traverse along which it moves an axis, with its purpose; empty: it moves the arm
let thumb = null; // holds the motion: the second

export function steer({ snap, advice }) {
  const free = may();
  const busy = free && !idle();
  const measured = handed(snap);
  const moved = Boolean(measured?.moves); // by a motor: nothing is taken, skipped or typed by hand
  const typed = measured ? Boolean(snap.sweep.wanted) : snap.angle.source === 'typed';
  const half = snap.sweep.kind === 'half-turn';
  const byHand = !moved && (snap.angle.source === 'stations' || typed || half || measured !== null);
  const stations = measured?.places ?? snap.sweep.stations ?? [];
  const here = busy && stations.some((s) => s.state === 'here');
  const marking = snap.angle.source === 'steady' && !half && !measured;
  const show = (id, shown, enabled) => {
    byId(id).hidden = !shown;
    byId(id).disabled = !enabled;
  };
  const moves = Boolean(snap.last) && !advice?.must_sweep && (advice?.moves ?? []).length > 0 && snap.last.result.verdict !== 'within';
  show('start', idle(), free && idle());
  byId('start').classList.toggle('main', !moves);
  byId('next').hidden = !idle() || !moves;
  setText(byId('next'), t('next.adjust'));
  setText(byId('start'), snap.angle.source === 'program' ? t('arm') : advice?.must_sweep || moves ? t('start.again') : t('start'));
  show('take', !idle() && (byHand || marking) && !typed, marking ? busy && snap.sweep.phase === 'waiting' : here);
  setText(byId('take'), measured?.act ? t(`take.${measured.act}`) : marking ? t('take.mark') : half ? t('take.half') : t('take'));
  show('skip', !idle() && byHand, here && !half);
  show('redo', !idle() && byHand, busy && stations.some((s) => s.state === 'taken' || s.state === 'skipped'));
  show('abandon', !idle(), busy);
  byId('options').hidden = !idle();
  byId('typed').hidden = !typed || idle();
  byId('put').disabled = !here || !snap.sweep.wanted;
  setText(byId('typed-what'), snap.sweep.wanted ? t('typed.of', { indicator: snap.sweep.wanted }) : t('typed.reading'));
  byId('motion').hidden = !armed || !free || !(idle() || thumb?.holds());
  byId('motion-hold').disabled = !thumb?.holds() && byId('motion-name').value.trim() !== snap.machine;
  byId('moved-log').disabled = !free;
  byId('logout-row').hidden = !state.may.may_change || !state.may.password_set;
  byId('login-open').hidden = state.may.may_change || !state.may.password_set;
  setText(byId('why'), reason());
  if (advice?.must_sweep && byId('purpose').dataset.by !== 'hand') byId('purpose').value = 'adjust';
}

function reason() {
  if (!state.may.may_change && !state.may.password_set) return t('why.nopassword');
  if (!fresh()) return t('why.stale');
  return '';
}

// arm is the first act; which names a traverse and its purpose, and nothing for the arm.
export async function arm(which = {}) {
  const { purpose, ...what } = which;
  armed = await send('POST', '/api/v1/motion/arm', what);
  along = { ...what, ...(purpose ? { purpose } : {}) };
  byId('motion-name').value = ''; // typed for each motion
  byId('motion-cautions').replaceChildren(...armed.cautions.map((text) => make('li', '', say(text))));
  setText(byId('motion-plan'), `${t('motion.plan', { n: armed.commands.length, s: Math.round(armed.about_s), stop: armed.stop })}${retract(armed)}`);
  const mine = armed;
  setTimeout(() => { // the daemon forgets it then too
    if (armed === mine && !thumb?.holds()) armed = null;
    change();
  }, 58000);
  return t('motion.armed');
}

// A temperature that was typed goes with one start; the next one is typed again.
function temperature() {
  const typed = byId('temperature').value;
  byId('temperature').value = '';
  return typed === '' ? {} : { temperature_c: Number(typed) };
}

const run = () => `/api/v1/sweeps/${state.snap.sweep.run}`;

export function wireSteer() {
  byId('purpose').addEventListener('change', () => { byId('purpose').dataset.by = 'hand'; });
  on('start-form', 'submit', async () => {
    if (!idle()) return '';
    if (state.snap.angle.source === 'program') return arm(); // its cautions come with it, in full, each time
    await acknowledged();
    const begun = await send('POST', '/api/v1/sweeps', { turns: Number(byId('turns').value) || 1, purpose: byId('purpose').value, ...temperature() });
    byId('options').open = false;
    return t('begun', begun);
  });
  on('motion', 'submit', () => { // Enter in the field: the button must be held
    const name = byId('motion-name').value.trim();
    return name === state.snap.machine ? t('motion.hold.how') : t('motion.name.wrong', { name });
  });
  byId('motion-name').addEventListener('input', () => change());
  thumb = holder(byId('motion-hold'), {
    key: () => armed?.key,
    start: async (key) => {
      const begun = await send('POST', '/api/v1/motion/start', { key, purpose: byId('purpose').value, ...along, ...temperature() });
      setText(byId('answer'), t('motion.begun', begun));
    },
    ended: (why) => {
      armed = null; // one arming, one motion
      byId('motion-name').value = '';
      setText(byId('answer'), why ? t('motion.hold.lost', { why: why.message }) : t('motion.hold.gone'));
      change();
    },
  });
  on('take', 'click', async () => {
    await send('POST', `${run()}/take`);
    return t('taken');
  });
  on('skip', 'click', async () => {
    await send('POST', `${run()}/skip`);
    return t('skipped');
  });
  on('redo', 'click', async () => {
    await send('POST', `${run()}/redo`);
    return t('redone');
  });
  on('typed', 'submit', async () => {
    const field = byId('typed-text');
    await send('POST', `${run()}/reading`, { text: field.value });
    field.value = '';
    return t('typed.done');
  });
  on('abandon', 'click', async () => {
    await send('DELETE', run());
    return t('abandoned');
  });
  on('event', 'submit', async () => {
    const field = byId('event-text');
    await send('POST', '/api/v1/events', { kind: byId('event-kind').value, text: field.value });
    field.value = '';
    return t('logged');
  }, 'event-answer');
}

// retract says that the arm may still move after a stop.
function retract(plan) {
  return plan.retract?.length ? ` ${t('motion.retract', { list: plan.retract.join('; ') })}` : '';
}
