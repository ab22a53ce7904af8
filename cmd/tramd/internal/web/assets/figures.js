// The figures of the now view: a verdict for both axes, and for each axis its lean, ±, side, and a bar of the limit.
import { byId, draw, make, set, setClass, setText } from './dom.js';
import { signed, size, expanded, inWords } from './units.js';
import { side, verdicts, when } from './words.js';
import { many, t } from './t.js';

// heldBack is the newest sweep that has ended and is not stored, as while the disk is full; null when all is stored.
export const heldBack = (snap) => (snap.unstored ?? []).filter((x) => x.kind === 'sweep' && x.outcome === 'finished' && x.result).at(-1) ?? null;

// shown picks what the figures speak of: the sweep in hand when there is one, else the last one. An old figure is
// never shown beside a sweep that has none yet.
export function shown(snap) {
  if (snap.sweep.phase !== 'idle') return { result: snap.sweep.result, region: snap.region, live: true };
  const held = heldBack(snap);
  if (held) return { result: held.result, region: snap.last_region, live: false };
  return { result: snap.last?.result ?? null, region: snap.last_region, live: false };
}

export function leanWords(axis, name) {
  if (!axis) return t('axis.unmeasured');
  if (Math.abs(axis.mm_per_m) <= axis.U_mm_per_m) return t('axis.unseen');
  return t('axis.leans', { side: side(name, axis.mm_per_m) });
}

// times says how large the lean is beside its limit: "6.5 × the limit", "0.4 of the limit".
export function times(axis, limit) {
  if (!axis || !(limit > 0)) return '';
  const x = Math.abs(axis.mm_per_m) / limit;
  return x >= 1 ? t('times.over', { x: x.toFixed(x < 10 ? 1 : 0) }) : t('times.of', { x: x.toFixed(x < 0.1 ? 2 : 1) });
}

const mid = 160;
const reach = 150;

// gauge draws one axis on a bar: the limit as two jaws, the lean as a notch, its interval as a block on the bar.
export function gauge(svg, axis, limit, words) {
  const full = Math.max(1.6 * (limit || 0), axis ? Math.abs(axis.mm_per_m) + axis.U_mm_per_m : 0, 1e-6) * 1.04;
  const x = (v) => mid + (Math.max(-full, Math.min(full, v)) / full) * reach;
  const out = [draw('path', { class: 'rail', d: `M${mid - reach} 17H${mid + reach}` }), draw('path', { class: 'centre', d: `M${mid} 11v12` })];
  if (limit > 0) {
    out.push(draw('rect', { class: 'inside', x: x(-limit), y: 9, width: x(limit) - x(-limit), height: 16 }));
    out.push(draw('path', { class: 'jaw', d: `M${x(-limit) + 5} 4h-5v26h5M${x(limit) - 5} 4h5v26h-5` }));
  }
  if (axis) {
    const [a, b] = [x(axis.mm_per_m - axis.U_mm_per_m), x(axis.mm_per_m + axis.U_mm_per_m)];
    const wide = Math.max(b - a, 2);
    out.push(draw('rect', { class: `interval ${axis.verdict}`, x: (a + b) / 2 - wide / 2, y: 12, width: wide, height: 10 }));
    out.push(draw('path', { class: `needle ${axis.verdict}`, d: `M${x(axis.mm_per_m)} 25l-6 -20h12z` }));
  }
  svg.replaceChildren(...out);
  set(svg, { viewBox: '0 0 320 32', 'aria-label': words });
}

// half writes ± with its unit in a piece of its own, which a phone leaves to the head of the page.
function half(el, axis, unit) {
  const text = axis ? `± ${expanded(axis.U_mm_per_m, unit)} ` : '';
  if (el.childElementCount === 0) el.replaceChildren('', make('span', 'u'));
  if (el.firstChild.data !== text) el.firstChild.data = text;
  setText(el.lastChild, axis ? unit.label : '');
}

function axisFigures(name, axis, snap, unit, live) {
  const box = byId(name);
  const [digits, U, verdict, words, over] = ['.digits', '.expanded', '.verdict', '.words', '.times'].map((q) => box.querySelector(q));
  const limit = snap.limit_mm_per_m;
  const key = JSON.stringify([axis?.mm_per_m, axis?.U_mm_per_m, axis?.verdict, limit]);
  const said = axis ? leanWords(axis, name) : live && snap.sweep.result ? t('axis.unmeasured') : live ? t('axis.none') : t('axis.unmeasured');
  setText(words, said);
  setText(digits, axis ? signed(axis.mm_per_m, unit, axis.U_mm_per_m) : '–');
  half(U, axis, unit);
  const v = verdicts[axis?.verdict] ?? verdicts.none;
  setClass(verdict, `verdict ${axis?.verdict ?? 'none'}`);
  setText(verdict, axis ? `${v.mark} ${v.word}` : '');
  setText(over, times(axis, limit));
  if (box.dataset.key !== key) {
    box.dataset.key = key;
    gauge(box.querySelector('.gauge'), axis, limit, axis ? t('gauge', { axis: t(`axis.${name}`), times: times(axis, limit), verdict: v.text }) : t('gauge.none'));
  }
}

// sizeOnly is the lean of a result that has a size and no direction, since it is not known yet where 0 degrees is.
const sizeOnly = (result) => (result?.lean && result.lean.azimuth_deg === null ? { ...result.lean, verdict: result.verdict } : null);

// sizeFigures puts the size where the tilt stands, and says in the nod's place what is missing.
function sizeFigures(lean, snap, unit) {
  axisFigures('tilt', lean, snap, unit, false);
  axisFigures('nod', null, snap, unit, false);
  setText(byId('tilt').querySelector('.digits'), size(lean.mm_per_m, unit, lean.U_mm_per_m));
  setText(byId('tilt').querySelector('.words'), t('axis.size'));
  setText(byId('nod').querySelector('.words'), t('axis.nodirection'));
}

function sourceWords(snap, live, unit) {
  const s = snap.sweep;
  if (live) {
    if (!s.result) return `${t('now.run', { run: s.run })}${s.why_not ? ` · ${inWords(s.why_not, unit)}` : ''}`;
    return t('now.sofar', { run: s.run, readings: many('readings', s.readings), stored: s.stored.toLocaleString(document.documentElement.lang) });
  }
  const held = heldBack(snap);
  if (held) return t('now.unstored', { run: held.run, when: when(held.at) });
  if (!snap.last) return t('now.nothing');
  return t('now.last', { run: snap.last.run, when: when(snap.last.at) });
}

// clear says that a program still moves the arm, though its readings are all in: keep clear.
export const clear = (snap) => ['returning', 'stopping'].includes(snap.sweep.phase);

// bandOf returns the verdict on both axes, in a word that fits the moment: nothing is decided while the arm still turns.
export function bandOf(snap) {
  if (clear(snap)) return [snap.sweep.result?.verdict ?? 'none', t(`band.${snap.sweep.phase}`)];
  const { result, live } = shown(snap);
  const verdict = result?.verdict ?? 'none';
  if (live && !result) return ['none', t('band.measuring')];
  if (live && verdict === 'undecided') return [verdict, t((snap.sweep.stations ?? []).length ? 'band.on' : 'band.turn')];
  if (live) return [verdict, t(`band.${verdict}.sofar`)];
  if (!result) return ['none', t('verdict.none.short')];
  return [verdict, t(`verdict.${verdict}.short`)];
}

export function figures(snap, unit) {
  const { result, live } = shown(snap);
  const [verdict, words] = bandOf(snap);
  setClass(byId('band'), `band ${verdict}`);
  setText(byId('band').firstElementChild, (verdicts[verdict] ?? verdicts.none).mark);
  setText(byId('band-words'), words);
  setText(byId('source'), sourceWords(snap, live, unit));
  const lean = sizeOnly(result);
  if (lean) {
    sizeFigures(lean, snap, unit);
  } else {
    axisFigures('tilt', result?.tilt, snap, unit, live);
    axisFigures('nod', result?.nod, snap, unit, live);
  }
  setText(byId('lag'), inWords(lagWords(snap.sweep), unit));
  warn(result?.warnings ?? [], unit);
}

// lag says what is wrong with the shown lean, and how old it is once that matters.
export function lagWords(s) {
  if (s.phase === 'idle') return '';
  return [s.live, s.result_age_s > 0.5 ? t('live.age', { s: s.result_age_s.toFixed(1) }) : ''].filter(Boolean).join(' ');
}

function warn(list, unit) {
  const ul = byId('warnings');
  const key = JSON.stringify([list, unit.label]);
  if (ul.dataset.key === key) return;
  ul.dataset.key = key;
  ul.hidden = !list.length;
  ul.replaceChildren(...list.map((w) => make('li', '', inWords(w.text, unit))));
}

// spoken is the same for a listener.
export function spoken(snap, unit) {
  const { result } = shown(snap);
  const part = (name) => {
    const a = result?.[name];
    if (!a) return t('spoken.unmeasured', { axis: t(`axis.${name}`) });
    return t('spoken.axis', { axis: t(`axis.${name}`), lean: signed(a.mm_per_m, unit, a.U_mm_per_m), half: expanded(a.U_mm_per_m, unit), unit: unit.label, verdict: (verdicts[a.verdict] ?? verdicts.none).text });
  };
  const lean = sizeOnly(result);
  const say = inWords(snap.sweep.say ?? '', unit).replace(/[.\s]+$/, '');
  if (lean) return [say, t('spoken.size', { lean: size(lean.mm_per_m, unit, lean.U_mm_per_m), half: expanded(lean.U_mm_per_m, unit), unit: unit.label })].filter(Boolean).join('. ');
  return [say, part('tilt'), part('nod')].filter(Boolean).join('. ');
}

