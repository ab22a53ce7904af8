// The reading to aim for while an adjuster is loose: how far it is to go, over the whole screen and by ear, since the eyes are on the
// spanner. The arm stands still at the place the advice names; the daemon has the pivot and the arm in what it says. At a joint the
// indicator is read at a near end, parked at a far one, and taken back to the near end once the joint is tight.
import { byId, make, setText } from './dom.js';
import { sounding, tone } from './aids.js';
import { onPaint, state } from './state.js';
import { unitNow } from './frame.js';
import { bare, inWords, length } from './units.js';
import { say } from './say.js';
import { t } from './t.js';

let advice = null;
let reading = null; // of the indicator the aim is for; null when there is none fresh
let lag = 0; // mm: the surface is at the reading plus so much
let moves = false; // it does not lie still
let u = 0; // mm: standard uncertainty of that
let age = null; // s: of the reading, when it came
let encoder = false; // one says where the arm stands
let angle = null; // where the arm stands, in degrees; null: not known now
let fromAngle = null; // where it stood when the aim began; null: a person was asked
let aim = null; // the one in hand
let adjusters = []; // as the advice describes them
let from = null; // reading, lag and uncertainty where the aim began
let loose = null;
let near = null; // at a joint: reading at the near end
let tight = null; // and at the far one once it was tightened
let done = 0; // by how much the far end has changed against the near one, over all rounds
let share = 1; // by how much it does for 1 mm of the far end: 1 where the near end stays
let filled = null; // takes what was moved, by the indicator
let tightened = null; // what tightening did, until the move is logged
let nextTone = 0;
let spoken = 0;

const buttons = { near: 'target-near', park: 'target-park', turn: 'target-tighten', tight: 'target-tight', again: 'target-near' }; // what ends each step

// takeTightened hands over what is to be logged with the move of that adjuster, once.
export function takeTightened() {
  const was = tightened;
  tightened = null;
  return was;
}

// name is the indicator the aim is for, or the two whose difference is.
const name = (a) => (a.less ? t('aim.less', { one: a.indicator, other: a.less }) : a.indicator);
const several = () => new Set((advice?.aims ?? []).map((a) => a.indicator)).size > 1;

export function targetAdvice(next) {
  advice = next;
  const box = byId('aims');
  const key = JSON.stringify([advice?.run, advice?.aims]);
  if (box.dataset.key !== key) {
    box.dataset.key = key;
    box.replaceChildren(...(advice?.aims ?? []).map((a) => {
      const b = make('button', 'main', several() ? t('aim.by', { adjuster: a.adjuster, indicator: name(a) }) : t('aim', { adjuster: a.adjuster }));
      b.type = 'button';
      b.addEventListener('click', () => begin(a, advice, fill));
      return b;
    }));
    if (aim && !aim.near && !(advice?.aims ?? []).some((a) => a.adjuster === aim.adjuster && a.change_mm === aim.change_mm)) end();
  }
  show();
}

// faster than this a reading is not taken yet: 0.002 mm in the time from a look to a press
const movesMMPerS = 0.01;

function read() {
  const of = (indicator) => {
    const d = (state.snap?.devices ?? []).find((x) => x.name === indicator);
    return !state.news.stale && d?.state === 'live' && d.reading_mm != null ? d : null;
  };
  encoder = state.snap?.angle.source === 'encoder';
  angle = encoder && !state.news.stale ? state.snap.angle.deg ?? null : null;
  const one = aim ? of(aim.indicator) : null;
  const other = aim?.less ? of(aim.less) : {};
  const ok = one && other;
  reading = ok ? one.reading_mm - (other.reading_mm ?? 0) : null;
  lag = ok ? (one.lag_mm ?? 0) - (other.lag_mm ?? 0) : 0;
  u = ok ? Math.hypot(one.u_mm ?? 0, other.u_mm ?? 0) : 0;
  moves = ok && Math.hypot(one.rate_mm_per_s ?? 0, other.rate_mm_per_s ?? 0) > movesMMPerS;
  age = ok ? Math.max(one.age_s ?? 0, other.age_s ?? 0) : null;
  show();
}

// begin begins an aim. fill takes the amount that was moved, by what the indicator showed.
export function begin(a, of, fill) {
  [aim, adjusters, filled] = [a, of?.adjusters ?? [], fill];
  from = loose = near = tight = fromAngle = null;
  [done, share] = [0, 1];
  byId('target').showModal();
  read();
}

function end() {
  aim = from = loose = fromAngle = null;
  if (byId('target').open) byId('target').close();
}

function step() {
  if (aim.near && near === null) return 'near';
  if (from === null) return 'park';
  if (loose === null) return 'turn';
  return tight === null ? 'tight' : 'again';
}
// What tightening did is known of one arm, not of a difference.
const tightening = () => (aim.less || aim.near ? 0 : advice?.tightening_mm ?? 0);
// changeAt is how far the reading goes where the arm stands. Without an encoder it stands where the person was asked to put it.
function changeAt(deg) {
  if (deg === null || aim.cos_mm === undefined) return aim.change_mm;
  const a = (deg * Math.PI) / 180;
  return aim.cos_mm * Math.cos(a) + aim.sin_mm * Math.sin(a) + aim.rest_mm;
}
function change() {
  if (!aim.near) return changeAt(fromAngle);
  return (aim.target_mm === null ? aim.change_mm - done : aim.target_mm - (from.mm - near)) / share;
}
// away says where the indicator stands at a joint, where a scale tells it and it is not where it is asked for; else null.
const awayMM = 2;
function away() {
  const at = aim.scale ? state.snap?.position?.mm ?? null : null;
  const wanted = ['near', 'again'].includes(step()) ? aim.near_mm : aim.far_mm;
  return at !== null && Math.abs(at - wanted) > awayMM ? { at: at.toFixed(1), wanted } : null;
}
const apart = (a, b) => Math.abs(((((a - b) % 360) + 540) % 360) - 180);
// An arm that turns takes the reading along the surface: more than this and the reading says nothing of the move.
const turnedDeg = 2;
const turned = () => away() !== null || (fromAngle !== null && (angle === null || apart(angle, fromAngle) > turnedDeg));
// Where the move shows less than half of what it shows at the best place, the goal is too uncertain to follow.
const showsHere = () => aim.near || !encoder || (angle !== null && Math.abs(changeAt(angle)) >= Math.abs(aim.change_mm) / 2);
const point = () => aim.point ?? t('aim.point', { deg: Math.round(aim.spindle_deg) });
const goal = () => from.mm + change() - tightening();
// What lags now and did not when the aim began is on its way already.
const toGo = () => goal() - (reading + lag - from.lag);
// expanded is how far off toGo may be, by both readings and by what tightening does, for 95 %.
const expanded = () => 2 * Math.hypot(u, from.u, aim.less || aim.near ? 0 : advice?.tightening_sd_mm ?? 0);
const oldS = () => (age === null ? null : age + (performance.now() - state.heard) / 1000);

// sureWords says how far the figure may be trusted, and how old the reading is.
function sureWords(unit) {
  const bits = [];
  if (u > 0) bits.push(`± ${bare(Math.ceil(expanded() * 1e4) / 1e4, unit, expanded() < 0.0095 ? 4 : 3)} ${unit?.inch ? 'in' : 'mm'}`);
  if (age !== null) bits.push(t('aim.age', { age: oldS().toFixed(1) }));
  if (Math.abs(lag - from.lag) >= 0.0005) bits.push(t('aim.lags', { length: length(Math.abs(lag - from.lag), unit) }));
  return bits.join(' · ');
}
// close is near enough that another touch would do more harm: a twentieth of the way, two steps of a common indicator at least.
const close = () => Math.max(0.002, Math.abs(change()) / 20);

// angleWords says where the arm stands and what the reading must do there, or asks where no encoder tells.
function angleWords() {
  if (aim.near) {
    const off = away();
    if (off) return t('aim.away', off);
    if (from !== null) return '';
    return `${done === 0 ? '' : came()}${near === null ? t('aim.go.near', { near: say(aim.near) }) : t('aim.go.far', { far: say(aim.far) })}`;
  }
  if (!encoder) return from === null ? t('aim.ask', { point: point() }) : '';
  if (angle === null) return t('aim.blind');
  const at = angle.toFixed(1);
  if (from !== null) return t('aim.at', { at });
  if (!showsHere()) return t('aim.hides', { at, point: point() });
  const way = changeAt(angle) > 0 ? 'up' : 'down';
  return t(`aim.here.${way}`, { at, length: length(Math.abs(changeAt(angle)), unitNow()) });
}

// still asks for patience where the reading of this step is taken and moves.
const still = (now) => (moves && now !== 'turn' ? `${t('aim.moves')} ` : '');
// came says what the move has come to.
const came = () => `${t('aim.came', { done: length(done, unitNow()), goal: length(aim.change_mm, unitNow()) })} `;

function show() {
  const box = byId('target');
  if (!aim) return;
  const unit = unitNow();
  const now = step();
  setText(byId('target-say'), inWords(aim.say, unit));
  byId('target-caution').classList.toggle('gone', now === 'tight');
  for (const id of Object.values(buttons)) {
    byId(id).classList.toggle('gone', id !== buttons[now]);
    byId(id).disabled = reading === null || (moves && now !== 'turn') || (now === 'park' && !showsHere()) || turned();
  }
  setText(byId('target-park'), encoder || aim.near ? t('aim.park') : t('aim.yes', { point: point() }));
  byId('target-live').classList.toggle('gone', from === null);
  setText(byId('target-angle'), angleWords());
  setText(byId('target-sure'), from === null || reading === null || turned() ? '' : sureWords(unit));
  let state_ = '';
  if (from === null) {
    setText(byId('target-words'), `${reading === null ? t('aim.noreading', { name: name(aim) }) : t('aim.reads', { name: name(aim), length: length(reading, unit) })} ${still(now)}${angleWords()}`.trim());
  } else if (reading === null || turned()) {
    state_ = 'old';
    setText(byId('target-arrow'), '');
    setText(byId('target-digits'), '–');
    setText(byId('target-words'), reading === null ? t('aim.lost', { name: name(aim) }) : away() ? angleWords() : angle === null ? t('aim.blind')
      : t('aim.turned', { from: fromAngle.toFixed(1), at: angle.toFixed(1) }));
  } else {
    const go = toGo();
    const there = Math.abs(go) <= close();
    state_ = there ? 'there' : '';
    setText(byId('target-arrow'), there ? '✓' : go > 0 ? '▲' : '▼');
    setText(byId('target-digits'), there ? bare(go, unit) : bare(Math.abs(go), unit));
    byId('target-bar').value = Math.min(1.25, Math.max(0, (goal() - toGo() - from.mm) / (goal() - from.mm)));
    const allowed = tightening() ? ` ${t('aim.allowed', { length: length(tightening(), unit) })}` : '';
    setText(byId('target-words'), now === 'again' ? still(now) + t('aim.go.again', { near: say(aim.near) }) : now === 'tight' ? still(now) + t('aim.then')
      : `${there ? t('aim.there') : t(go > 0 ? 'aim.up' : 'aim.down', { length: length(Math.abs(go), unit), goal: length(goal(), unit) })}${allowed}`);
  }
  for (const c of ['there', 'old']) box.classList.toggle(c, c === state_);
}

// Ticks come faster and higher as the aim comes nearer, fall lower when it is passed, and become one long tone there.
function listen() {
  const now = performance.now();
  if (!aim || from === null || loose !== null || reading === null || turned()) return;
  const go = toGo();
  const whole = Math.abs(goal() - from.mm) || 1;
  const far = Math.min(1, Math.abs(go) / whole);
  const passed = Math.sign(go) !== Math.sign(goal() - from.mm) && Math.abs(go) > close();
  if (sounding() && now >= nextTone) {
    if (Math.abs(go) <= close()) {
      tone(880, 0.3);
      nextTone = now + 300;
    } else {
      tone(passed ? 220 : 440 + 330 * (1 - far), 0.06);
      nextTone = now + 120 + 700 * far;
    }
  }
  if (byId('target-speak').checked && window.speechSynthesis && now - spoken > 4000 && !speechSynthesis.speaking) {
    spoken = now;
    const unit = unitNow();
    const n = Math.round(unit.inch ? (Math.abs(go) / 25.4) * 1000 : Math.abs(go) * 100);
    const words = Math.abs(go) <= close() ? t('aim.said.there') : t(`aim.said.${passed ? 'back' : 'on'}.${unit.inch ? 'thou' : 'hundredths'}`, { n });
    speechSynthesis.speak(new SpeechSynthesisUtterance(words));
  }
}

// free reports whether an adjuster moves by any amount, and not by steps or by what is in stock.
function free() {
  const a = adjusters.find((x) => x.name === aim.adjuster);
  return !a?.step && !(a?.stock_mm ?? []).length;
}

const amount = () => (free() ? (aim.by * done) / aim.change_mm : aim.by);

// round takes the near end's reading once the joint is tight again. Where the move fell short, it is aimed once more, by what share of
// the far end's way shows: a plate may turn about its middle.
function round(mm) {
  const gained = tight - mm - (from.mm - near);
  const went = tight - from.mm;
  if (Math.abs(went) > 0.005) share = Math.min(5, Math.max(0.2, gained / went));
  done += gained;
  const left = aim.target_mm === null ? aim.change_mm - done : aim.target_mm - (tight - mm);
  if (Math.abs(left) <= Math.max(0.002, Math.abs(aim.change_mm) / 20)) return leave(amount());
  near = mm;
  from = loose = tight = null;
}

function leave(by) {
  const fills = filled;
  const adjuster = aim.adjuster;
  end();
  fills(adjuster, Number(by.toFixed(3)));
}

// fill writes what the head's adjuster was moved by into the form that logs it.
function fill(adjuster, by) {
  const unit = unitNow();
  const a = adjusters.find((x) => x.name === adjuster);
  const input = [...byId('moved-rows').querySelectorAll('input')].find((i) => i.name === adjuster);
  if (input) input.value = unit.inch && a?.unit === 'mm' ? (by / 25.4).toFixed(4) : by;
  input?.focus();
}

export function wireTarget() {
  onPaint(() => { if (aim) read(); });
  byId('target-near').addEventListener('click', () => {
    if (near !== null) round(reading);
    else near = reading;
    show();
  });
  byId('target-park').addEventListener('click', () => {
    from = { mm: reading, lag, u };
    fromAngle = encoder && !aim.near ? angle : null;
    show();
  });
  byId('target-tighten').addEventListener('click', () => { loose = reading; show(); });
  byId('target-tight').addEventListener('click', () => {
    tight = reading;
    if (aim.near) return show();
    tightened = aim.less ? null : { loose_mm: loose, tight_mm: reading };
    setText(byId('moved-answer'), t('aim.tightened', { length: length(reading - loose, unitNow()) }));
    leave(free() ? (aim.by * (loose - from.mm)) / change() : aim.by);
  });
  byId('target-end').addEventListener('click', () => { if (done !== 0) leave(amount()); else end(); });
  byId('target').addEventListener('close', () => { aim = from = loose = fromAngle = null; });
  setInterval(listen, 60);
  setInterval(() => { if (aim && from !== null && age !== null && oldS() > 0.5) show(); }, 200);
}
