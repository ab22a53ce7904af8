// The big digits: tilt and nod, each with its uncertainty, verdict and words.
import { byId, setText, setClass } from './dom.js';
import { signed, size, expanded } from './units.js';
import { sides, verdicts, when } from './words.js';

// shown picks what the digits speak of: the sweep in hand when there is one, else the last stored one. An old figure is
// never shown beside a sweep that has none yet.
export function shown(state) {
  if (state.sweep.phase !== 'idle') {
    return { result: state.sweep.result, region: state.region, live: true };
  }
  return { result: state.last?.result ?? null, region: state.last_region, live: false };
}

export function leanWords(axis, name, unit) {
  if (!axis) return 'not measured';
  if (Math.abs(axis.mm_per_m) <= axis.U_mm_per_m) return 'no lean seen beyond the uncertainty';
  const side = sides[name][axis.mm_per_m > 0 ? 1 : 0];
  return `upper end leans ${side} ${size(axis.mm_per_m, unit, axis.U_mm_per_m)} ${unit.label}`;
}

function axisFigures(name, axis, state, unit, live) {
  const box = byId(name);
  const [digits, U, verdict, words] = ['.digits', '.expanded', '.verdict', '.words'].map((q) => box.querySelector(q));
  if (!axis) {
    setText(digits, '–');
    setText(U, '');
    setText(words, live && state.sweep.result ? 'not measured by these stations' : live ? 'no figure yet' : 'not measured');
    setClass(verdict, 'verdict none');
    setText(verdict, '');
    return;
  }
  setText(digits, signed(axis.mm_per_m, unit, axis.U_mm_per_m));
  setText(U, `± ${expanded(axis.U_mm_per_m, unit)} ${unit.label}`);
  const v = verdicts[axis.verdict] ?? verdicts.none;
  setClass(verdict, `verdict ${axis.verdict}`);
  setText(verdict, `${v.mark} ${v.text}`);
  setText(words, leanWords(axis, name, unit));
}

// sizeOnly is the lean of a result that has a size and no direction, since nobody has shown where 0 degrees is.
const sizeOnly = (result) => (result?.lean && result.lean.azimuth_deg === null ? { ...result.lean, verdict: result.verdict } : null);

// sizeFigures puts the size where the tilt stands, and says in the nod's place what is missing.
function sizeFigures(lean, unit) {
  const box = byId('tilt');
  setText(box.querySelector('.digits'), size(lean.mm_per_m, unit, lean.U_mm_per_m));
  setText(box.querySelector('.expanded'), `± ${expanded(lean.U_mm_per_m, unit)} ${unit.label}`);
  const v = verdicts[lean.verdict] ?? verdicts.none;
  setClass(box.querySelector('.verdict'), `verdict ${lean.verdict}`);
  setText(box.querySelector('.verdict'), `${v.mark} ${v.text}`);
  setText(box.querySelector('.words'), 'size of the lean, tilt and nod together');
  const nod = byId('nod');
  setText(nod.querySelector('.digits'), '–');
  setText(nod.querySelector('.expanded'), '');
  setClass(nod.querySelector('.verdict'), 'verdict none');
  setText(nod.querySelector('.verdict'), '');
  setText(nod.querySelector('.words'), 'direction not known');
}

function sourceWords(state, live) {
  const s = state.sweep;
  if (live) {
    if (!s.result) return `Run ${s.run}: no figure yet${s.why_not ? `, ${s.why_not}` : ''}`;
    return `Run ${s.run}, so far: ${s.readings} readings (${s.stored} stored), ${Math.round(s.result.coverage_deg)}° seen`;
  }
  if (!state.last) return 'Nothing measured yet.';
  return `Last sweep, run ${state.last.run}, ${when(state.last.at)}`;
}

export function figures(state, unit) {
  const { result, live } = shown(state);
  setText(byId('source'), sourceWords(state, live));
  const lean = sizeOnly(result);
  if (lean) {
    sizeFigures(lean, unit);
  } else {
    axisFigures('tilt', result?.tilt, state, unit, live);
    axisFigures('nod', result?.nod, state, unit, live);
  }
  warn(result?.warnings ?? []);
}

function warn(list) {
  const ul = byId('warnings');
  const key = JSON.stringify(list);
  if (ul.dataset.key === key) return;
  ul.dataset.key = key;
  ul.replaceChildren(...list.map((w) => {
    const li = document.createElement('li');
    li.textContent = w.text;
    return li;
  }));
}

// spoken is the same for a listener.
export function spoken(state, unit) {
  const { result } = shown(state);
  const part = (name) => {
    const a = result?.[name];
    if (!a) return `${name} not measured`;
    return `${name} ${signed(a.mm_per_m, unit, a.U_mm_per_m)} plus or minus ${expanded(a.U_mm_per_m, unit)} ${unit.label}, ${(verdicts[a.verdict] ?? verdicts.none).text}`;
  };
  const lean = sizeOnly(result);
  if (lean) return [state.sweep.say, `lean ${size(lean.mm_per_m, unit, lean.U_mm_per_m)} plus or minus ${expanded(lean.U_mm_per_m, unit)} ${unit.label}, direction not known`].filter(Boolean).join('. ');
  return [state.sweep.say, part('tilt'), part('nod')].filter(Boolean).join('. ');
}
