// The lean as a drawing: the table seen from above, the limit as a square about its middle, the upper end of the spindle
// as a point with the region it may truly be in. Right is +X, up the page is +Y, away from the operator.
import { byId, draw, set, setText } from './dom.js';
import { niceStep, size } from './units.js';
import { towards } from './words.js';
import { shown } from './figures.js';
import { t } from './t.js';

const mid = 220;
const half = 98; // of the table, in drawing units
const reach = 88; // full scale

let parts;
let full = 0; // mm/m at reach

function build() {
  const svg = byId('plan');
  const slots = draw('g', { class: 'slots' });
  for (const y of [-62, -21, 21, 62]) {
    slots.append(draw('path', { d: `M${mid - half} ${mid + y - 3}h${2 * half}m0 6h${-2 * half}` }));
  }
  const names = draw('g', { class: 'names' });
  for (const [key, x, y, anchor] of [['way.0', 407, 226, 'start'], ['way.2', 220, 34, 'middle'], ['way.4', 33, 226, 'end'], ['way.6', 220, 418, 'middle']]) {
    const el = draw('text', { x, y, 'text-anchor': anchor });
    el.textContent = t(key);
    names.append(el);
  }
  parts = {
    limit: draw('rect', { class: 'limit' }),
    band: draw('rect', { class: 'stripe' }),
    region: draw('ellipse', { class: 'region' }),
    rod: draw('path', { class: 'rod' }),
    tip: draw('circle', { class: 'tip', r: 4 }),
    bar: draw('path', { class: 'bar' }),
    barText: draw('text', { class: 'bar-text', x: mid, y: mid + half + 17, 'text-anchor': 'middle' }),
    ring: draw('g', { class: 'ring', id: 'ring' }),
  };
  svg.replaceChildren(
    draw('rect', { class: 'table', x: mid - half, y: mid - half, width: 2 * half, height: 2 * half }),
    slots,
    draw('path', { class: 'cross', d: `M${mid - half} ${mid}h${2 * half}M${mid} ${mid - half}v${2 * half}` }),
    parts.limit, parts.band, parts.region, parts.rod,
    draw('circle', { class: 'foot', cx: mid, cy: mid, r: 3.5 }),
    parts.tip, parts.bar, parts.barText, parts.ring, names,
  );
  return parts;
}

// fullScale grows at once and shrinks late, so that a figure near the edge does not make the drawing breathe.
function fullScale(need) {
  const p = 10 ** Math.floor(Math.log10(need * 1.08));
  const want = p * [1, 1.25, 1.6, 2, 2.5, 3.2, 4, 5, 6.4, 8, 10].find((k) => k * p >= need * 1.08);
  if (want > full || need < full * 0.4) full = want;
  return full;
}

const far = (axis) => (axis ? Math.abs(axis.mm_per_m) + axis.U_mm_per_m : 0);
const unseen = (axis) => Math.abs(axis.mm_per_m) <= axis.U_mm_per_m;
const hide = (el, hidden) => el.classList.toggle('gone', hidden);

export function plan(snap, unit) {
  const p = parts ?? build();
  const { result, region } = shown(snap);
  const { tilt, nod } = result ?? {};
  const limit = snap.limit_mm_per_m;
  const scale = reach / fullScale(Math.max(limit, far(tilt), far(nod)) || 0.1);
  const x = mid + (tilt?.mm_per_m ?? 0) * scale;
  const y = mid - (nod?.mm_per_m ?? 0) * scale;

  hide(p.limit, !(limit > 0));
  set(p.limit, { x: mid - limit * scale, y: mid - limit * scale, width: 2 * limit * scale, height: 2 * limit * scale });

  const both = Boolean(tilt && nod);
  const one = Boolean(tilt) !== Boolean(nod);
  for (const el of [p.tip, p.rod]) hide(el, !both);
  hide(p.region, !both || !region);
  hide(p.band, !one);
  if (both) {
    set(p.tip, { cx: x, cy: y, class: `tip ${result.verdict}` });
    set(p.rod, { d: `M${mid} ${mid}L${x} ${y}` });
    if (region) {
      set(p.region, {
        cx: x, cy: y, rx: Math.max(1.5, region.major_mm_per_m * scale), ry: Math.max(1.5, region.minor_mm_per_m * scale),
        transform: `rotate(${-region.turn_deg} ${x} ${y})`, class: `region ${result.verdict}`,
      });
    }
  } else if (one) {
    const w = 2 * Math.max(1, (tilt ?? nod).U_mm_per_m * scale);
    set(p.band, tilt
      ? { x: x - w / 2, y: mid - half, width: w, height: 2 * half }
      : { x: mid - half, y: y - w / 2, width: 2 * half, height: w });
  }

  const step = niceStep((full / 4) * unit.factor) / unit.factor;
  set(p.bar, { d: `M${mid - (step * scale) / 2} ${mid + half + 28}v-5h${step * scale}v5` });
  setText(p.barText, `${barSize(step, unit)} ${unit.label}`);
  say(snap, unit, result, both, one, step);
}

const barSize = (step, unit) => Number((step * unit.factor).toPrecision(3)).toString();

function say(snap, unit, result, both, one, step) {
  const { tilt, nod, lean } = result ?? {};
  let words = t('plan.none');
  if (both && lean) words = t('plan.leans', { way: towards(lean.azimuth_deg), size: size(lean.mm_per_m, unit, Math.max(tilt.U_mm_per_m, nod.U_mm_per_m)), unit: unit.label });
  if (both && unseen(tilt) && unseen(nod)) words = t('plan.unseen');
  if (one) words = t('plan.one', { axis: t(tilt ? 'axis.tilt' : 'axis.nod') });
  setText(byId('plan-words'), words);
  const limit = snap.limit_mm_per_m > 0 ? t('plan.limit', { tolerance: snap.tolerance }) : t('plan.nolimit');
  setText(byId('plan-scale'), [limit, both ? t('plan.ellipse') : '', t('plan.bar', { size: barSize(step, unit), unit: unit.label })].filter(Boolean).join(' '));
}
