// The reading to aim for while an adjuster is loose: how far it is to go, in large digits and by ear, since the eyes are on the
// spanner. The arm stands still at the place the advice names; the daemon has the pivot and the arm in what it says.
import { byId, make, setClass, setText } from './dom.js';
import { sounding, tone } from './aids.js';
import { mm } from './units.js';

let advice = null;
let reading = null; // of the indicator that is looked at; null when there is none fresh
let aim = null; // the one in hand
let from = null;
let loose = null;
let tightened = null; // what tightening did, until the move is logged
let nextTone = 0;
let spoken = 0;

const buttons = { park: 'target-park', turn: 'target-tighten', tight: 'target-tight' }; // what ends each step

// takeTightened hands over what is to be logged with the move of that adjuster, once.
export function takeTightened() {
  const t = tightened;
  tightened = null;
  return t;
}

export function targetAdvice(next) {
  advice = next;
  const key = JSON.stringify([advice?.run, advice?.aims]);
  const box = byId('aims');
  if (box.dataset.key !== key) {
    box.dataset.key = key;
    box.replaceChildren(...(advice?.aims ?? []).map((a) => {
      const b = make('button', '', `Aim: ${a.adjuster}${several() ? `, by ${name(a)}` : ''}`);
      b.type = 'button';
      b.addEventListener('click', () => begin(a));
      return b;
    }));
    if (aim && !(advice?.aims ?? []).some((a) => a.adjuster === aim.adjuster && a.change_mm === aim.change_mm)) end();
  }
  show();
}

// name is the indicator that is looked at, or the two whose difference is.
const name = (a) => (a.less ? `${a.indicator} less ${a.less}` : a.indicator);
const several = () => new Set((advice?.aims ?? []).map((a) => a.indicator)).size > 1;

export function targetState(state, stale) {
  const read = (indicator) => {
    const d = (state.devices ?? []).find((x) => x.name === indicator);
    return !stale && d?.state === 'live' ? d.reading_mm ?? null : null;
  };
  reading = aim ? read(aim.indicator) : null;
  if (reading !== null && aim.less) {
    const other = read(aim.less);
    reading = other === null ? null : reading - other;
  }
  show();
}

function begin(a) {
  aim = a;
  from = loose = null;
  show();
  byId('target').scrollIntoView({ block: 'nearest' });
}

function end() {
  aim = from = loose = null;
  show();
}

const step = () => (from === null ? 'park' : loose === null ? 'turn' : 'tight');
// What tightening did is known of one arm, not of a difference.
const tightening = () => (aim.less ? 0 : advice?.tightening_mm ?? 0);
const goal = () => from + aim.change_mm - tightening();
const toGo = () => goal() - reading;
// close is near enough that another touch would do more harm: a twentieth of the way, two steps of a common indicator at least.
const close = () => Math.max(0.002, Math.abs(aim.change_mm) / 20);

function show() {
  const box = byId('target');
  box.classList.toggle('gone', !aim);
  if (!aim) return;
  const now = step();
  setText(byId('target-say'), aim.say);
  for (const [s, id] of Object.entries(buttons)) {
    byId(id).classList.toggle('gone', s !== now);
    byId(id).disabled = reading === null;
  }
  byId('target-live').classList.toggle('gone', from === null);
  if (from === null) {
    setText(byId('target-words'), reading === null ? `No fresh reading of ${name(aim)}.` : `${name(aim)} reads ${mm(reading)} mm.`);
    return;
  }
  if (reading === null) {
    setClass(byId('target-live'), 'old');
    setText(byId('target-digits'), '–');
    setText(byId('target-words'), `No fresh reading of ${name(aim)}: do not go by what was shown.`);
    return;
  }
  const go = toGo();
  const there = Math.abs(go) <= close();
  setClass(byId('target-live'), there ? 'there' : '');
  setText(byId('target-digits'), there ? `✓ ${mm(go)}` : `${go > 0 ? '▲' : '▼'} ${mm(Math.abs(go))}`);
  const part = Math.min(1.25, Math.max(0, (reading - from) / (goal() - from)));
  byId('target-bar').value = part;
  const allowed = tightening() ? ` Tightening is expected to add ${mm(tightening())} mm; it is allowed for.` : '';
  setText(byId('target-words'), now === 'tight' ? 'Tighten, then press “Tight”.'
    : `${there ? 'There: stop and tighten.' : `The reading must go ${go > 0 ? 'up' : 'down'} by ${mm(Math.abs(go))} mm, to ${mm(goal())} mm.`}${allowed}`);
}

// Ticks come faster and higher as the aim comes nearer, fall lower when it is passed, and become one long tone there.
function listen() {
  const t = performance.now();
  if (!aim || from === null || loose !== null || reading === null) return;
  const go = toGo();
  const whole = Math.abs(goal() - from) || 1;
  const far = Math.min(1, Math.abs(go) / whole);
  const passed = Math.sign(go) !== Math.sign(goal() - from) && Math.abs(go) > close();
  if (sounding() && t >= nextTone) {
    if (Math.abs(go) <= close()) {
      tone(880, 0.3);
      nextTone = t + 300;
    } else {
      tone(passed ? 220 : 440 + 330 * (1 - far), 0.06);
      nextTone = t + 120 + 700 * far;
    }
  }
  if (byId('target-speak').checked && window.speechSynthesis && t - spoken > 4000 && !speechSynthesis.speaking) {
    spoken = t;
    const hundredths = Math.round(Math.abs(go) * 100);
    speechSynthesis.speak(new SpeechSynthesisUtterance(Math.abs(go) <= close() ? 'there' : `${passed ? 'back ' : ''}${hundredths} ${hundredths === 1 ? 'hundredth' : 'hundredths'}`));
  }
}

export function wireTarget() {
  byId('target-park').addEventListener('click', () => { from = reading; show(); });
  byId('target-tighten').addEventListener('click', () => { loose = reading; show(); });
  byId('target-tight').addEventListener('click', () => {
    tightened = aim.less ? null : { loose_mm: loose, tight_mm: reading };
    const a = advice.adjusters.find((x) => x.name === aim.adjuster);
    const free = !a?.step && !(a?.stock_mm ?? []).length;
    const by = free ? Number(((aim.by * (loose - from)) / aim.change_mm).toFixed(3)) : aim.by;
    const input = [...byId('moved-rows').querySelectorAll('input')].find((i) => i.name === aim.adjuster);
    if (input) input.value = by;
    setText(byId('moved-answer'), `Tightening changed the reading by ${mm(reading - loose)} mm. Log the move, then sweep again.`);
    end();
    input?.focus();
  });
  byId('target-end').addEventListener('click', end);
  setInterval(listen, 60);
}
