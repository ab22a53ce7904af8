// Two indicators on one bar: the lean along it, live and without turning, once half a turn by hand or a sweep gave their zero.
import { byId, draw, make, set, setText } from './dom.js';
import { expanded, mm, signed, size } from './units.js';
import { ago, towards } from './words.js';
import { idle, mayChange, on, send } from './steer.js';

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
  if (p.mm_per_m === null) return p.why;
  if (Math.abs(p.mm_per_m) <= p.U_mm_per_m) return 'No lean along the bar seen beyond the uncertainty.';
  const way = p.mm_per_m > 0 ? p.deg : p.deg + 180;
  return `Upper end leans ${towards(way)}, to ${p.mm_per_m > 0 ? p.indicator : p.less}, ${size(p.mm_per_m, unit, p.U_mm_per_m)} ${unit.label} along the bar.`;
}

const since = (now, then) => `${ago((new Date(now) - new Date(then)) / 1000)} ago`;

function axes(state, p, unit) {
  const rows = ['tilt', 'nod'].filter((n) => p[n]).map((n) => {
    const a = p[n];
    return `${n === 'tilt' ? 'Tilt' : 'Nod'} ${signed(a.mm_per_m, unit, a.U_mm_per_m)} ± ${expanded(a.U_mm_per_m, unit)} ${unit.label}, read ${since(state.at, a.at)}`;
  });
  const list = byId('beam-axes');
  if (list.dataset.key === rows.join()) return;
  list.dataset.key = rows.join();
  list.replaceChildren(...rows.map((text) => make('li', '', text)));
}

export function beam(state, unit, stale) {
  byId('beam').hidden = !state.paired && !state.pair;
  for (const id of ['half-tilt', 'half-nod']) byId(id).disabled = !mayChange() || !idle();
  for (const id of ['half-tilt', 'half-nod']) byId(id).hidden = !state.paired;
  const p = state.pair;
  byId('beam-live').classList.toggle('gone', !p);
  byId('bar-moved').hidden = !p;
  if (!p) {
    setText(byId('beam-zero'), 'Not zeroed. Read, turn the spindle half a turn by hand, read again: then the bar shows the lean along it without turning.');
    return;
  }
  byId('bar-moved').disabled = !mayChange();
  const known = p.mm_per_m !== null && !stale;
  setText(byId('beam-digits'), known ? signed(p.mm_per_m, unit, p.U_mm_per_m) : '–');
  setText(byId('beam-expanded'), known ? `± ${expanded(p.U_mm_per_m, unit)} ${unit.label}` : '');
  setText(byId('beam-words'), words(p, unit));
  drawBar(p, state.limit_mm_per_m);
  axes(state, p, unit);
  const by = p.kind === 'half-turn' ? 'half turn' : p.kind;
  setText(byId('beam-zero'), `Zeroed by ${by} ${p.run}, ${since(state.at, p.at)}: at no lean ${p.indicator} less ${p.less} reads ${mm(p.zero_mm, 4)} mm (u ${mm(p.zero_u_mm, 4)} mm)`
    + `${p.mm_per_m === null ? '' : `; now ${mm(p.difference_mm, 4)} mm from that`}.${p.told ? ' Nobody sees whether the bar is moved: say so below, or take another half turn.' : ''}`);
}

export function wireBeam() {
  for (const [id, axis] of [['half-tilt', 'tilt'], ['half-nod', 'nod']]) {
    on(id, 'click', async () => {
      const { run } = await send('POST', '/api/v1/pair', { axis });
      byId('say').scrollIntoView({ block: 'center' });
      return `Half turn, run ${run}, has begun: what to do stands above.`;
    }, 'beam-answer');
  }
  on('bar-moved', 'click', async () => {
    await send('DELETE', '/api/v1/pair');
    return 'The zero is given up.';
  }, 'beam-answer');
}
