// Two indicators on one bar: the lean along it, live and without turning, once half a turn by hand or a sweep gave their zero.
import { byId, draw, make, set, setText } from './dom.js';
import { expanded, length, signed, size } from './units.js';
import { ago, towards } from './words.js';
import { on, send } from './api.js';
import { idle, may, onPaint, state } from './state.js';
import { unitNow } from './frame.js';
import { go } from './router.js';
import { say } from './say.js';
import { t } from './t.js';

const mid = { x: 220, y: 62 };
const arm = 150; // half the bar, in drawing units
const steepest = 14; // degrees in the drawing, at twice the limit and beyond

let parts;

function build() {
  parts = {
    limit: draw('path', { class: 'limit' }),
    bar: draw('path', { class: 'rod' }),
    feet: [0, 1].map(() => draw('circle', { class: 'foot', r: 7 })),
    names: [0, 1].map((i) => draw('text', { y: 128, x: mid.x + (i ? -arm : arm), 'text-anchor': 'middle' })),
  };
  byId('beam-drawing').replaceChildren(
    draw('path', { class: 'rule', d: `M${mid.x - arm - 40} ${mid.y}h${2 * arm + 80}` }), parts.limit, parts.bar, ...parts.feet, ...parts.names,
  );
}

// end is where the bar's end lies in the drawing when the spindle leans so far: its first indicator is at the right.
function end(mmPerM, limit, side) {
  const share = Math.max(-1, Math.min(1, mmPerM / (2 * (limit > 0 ? limit : 0.1))));
  const a = (share * steepest * Math.PI) / 180;
  return [mid.x + side * arm * Math.cos(a), mid.y + side * arm * Math.sin(a)];
}

// The spindle's upper end leans towards the side whose contact is pressed in: there the bar goes down.
function drawBar(p, limit) {
  if (!parts) build();
  const known = p.mm_per_m !== null;
  const [a, b] = [1, -1].map((side) => end(known ? p.mm_per_m : 0, limit, side));
  set(parts.bar, { d: `M${a.join(' ')}L${b.join(' ')}` });
  [a, b].forEach(([cx, cy], i) => set(parts.feet[i], { cx, cy }));
  const lines = limit > 0 ? [1, -1].map((s) => `M${end(s * limit, limit, 1).join(' ')}L${end(s * limit, limit, -1).join(' ')}`).join('') : '';
  set(parts.limit, { d: lines || 'M0 0' });
  const way = p.deg === null ? ['', ''] : [towards(p.deg), towards(p.deg + 180)].map((w) => `, ${w}`);
  [p.indicator, p.less].forEach((name, i) => setText(parts.names[i], `${name}${way[i]}`));
  parts.bar.parentNode.classList.toggle('old', !known);
}

function words(p, unit) {
  if (p.mm_per_m === null) return say(p.why);
  if (Math.abs(p.mm_per_m) <= p.U_mm_per_m) return t('beam.unseen');
  const way = p.mm_per_m > 0 ? p.deg : p.deg + 180;
  return t('beam.leans', { way: towards(way), indicator: p.mm_per_m > 0 ? p.indicator : p.less, size: size(p.mm_per_m, unit, p.U_mm_per_m), unit: unit.label });
}

// sure says how far the lean may be trusted, how old it is, and what of it the readings do not show yet.
function sure(p, unit) {
  const bits = [`± ${expanded(p.U_mm_per_m, unit)} ${unit.label}`];
  if (p.age_s != null) bits.push(t('beam.age', { age: (p.age_s + (performance.now() - state.heard) / 1000).toFixed(1) }));
  if (Math.abs(p.lag_mm_per_m ?? 0) > p.U_mm_per_m / 10) bits.push(t('beam.lags', { lag: size(p.lag_mm_per_m, unit, p.U_mm_per_m), unit: unit.label }));
  return bits.join(' · ');
}

const since = (now, then) => ago((new Date(now) - new Date(then)) / 1000);

function axes(snap, p, unit) {
  const rows = ['tilt', 'nod'].filter((n) => p[n]).map((n) => {
    const a = p[n];
    return t('beam.axis', { axis: t(`axis.${n}`), lean: signed(a.mm_per_m, unit, a.U_mm_per_m), half: expanded(a.U_mm_per_m, unit), unit: unit.label, ago: since(snap.at, a.at) });
  });
  const list = byId('beam-axes');
  if (list.dataset.key === rows.join()) return;
  list.dataset.key = rows.join();
  list.replaceChildren(...rows.map((text) => make('li', '', text)));
}

function beam({ snap, news }) {
  if (!snap) return;
  const unit = unitNow();
  byId('beam').hidden = !snap.paired && !snap.pair;
  for (const id of ['half-tilt', 'half-nod']) {
    byId(id).disabled = !may() || !idle();
    byId(id).hidden = !snap.paired;
  }
  const p = snap.pair;
  byId('beam-live').classList.toggle('gone', !p);
  byId('bar-moved').hidden = !p;
  if (!p) {
    setText(byId('beam-zero'), t('beam.nozero'));
    return;
  }
  byId('bar-moved').disabled = !may();
  const known = p.mm_per_m !== null && !news.stale;
  setText(byId('beam-digits'), known ? signed(p.mm_per_m, unit, p.U_mm_per_m) : '–');
  setText(byId('beam-expanded'), known ? sure(p, unit) : '');
  setText(byId('beam-words'), words(p, unit));
  drawBar(p, snap.limit_mm_per_m);
  axes(snap, p, unit);
  const values = { by: t(p.kind === 'half-turn' ? 'beam.by.half' : 'beam.by.sweep'), run: p.run, ago: since(snap.at, p.at), one: p.indicator, other: p.less, zero: length(p.zero_mm, unit, 4), u: length(p.zero_u_mm, unit, 4) };
  setText(byId('beam-zero'), [t('beam.zero', values), p.mm_per_m === null ? '' : t('beam.now', { difference: length(p.difference_mm, unit, 4) }), p.told ? t('beam.unaware') : ''].filter(Boolean).join(' '));
}

export function wireBeam() {
  onPaint(beam);
  for (const [id, axis] of [['half-tilt', 'tilt'], ['half-nod', 'nod']]) {
    on(id, 'click', async () => {
      const { run } = await send('POST', '/api/v1/pair', { axis });
      go('/');
      return t('beam.begun', { run });
    }, 'beam-answer');
  }
  on('bar-moved', 'click', async () => {
    await send('DELETE', '/api/v1/pair');
    return t('beam.given');
  }, 'beam-answer');
}
