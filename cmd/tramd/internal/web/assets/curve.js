// Reading against the angle where the indicator touched: a mark for each degree that was seen, and the fitted curve through them.
import { byId, draw, make, set, setText } from './dom.js';
import { bare, niceStep } from './units.js';
import { change } from './state.js';
import { t } from './t.js';

const pad = { left: 58, right: 14, top: 12, bottom: 40 };
const narrow = { w: 336, h: 200 }; // of a phone, until the box has a width
const lowest = 70; // in px: a lower curve shows nothing

const mean = (list) => list.reduce((a, p) => a + p.mm, 0) / list.length;

// series parts the points by indicator. One indicator shows its readings as they are; several are set to a common middle,
// since each has its own zero.
function series(curve) {
  const by = new Map();
  for (const p of curve.points) {
    if (!by.has(p.indicator)) by.set(p.indicator, []);
    by.get(p.indicator).push(p);
  }
  const several = by.size > 1;
  return [...by].sort((a, b) => a[0] - b[0]).map(([indicator, points]) => {
    const fit = curve.fit.find((f) => f.indicator === indicator);
    return { indicator, points, fit, zero: several ? fit?.mean_mm ?? mean(points) : 0 };
  });
}

const fitted = (f, deg) => {
  const a = (deg * Math.PI) / 180;
  return f.mean_mm + f.cos_mm * Math.cos(a) + f.sin_mm * Math.sin(a);
};

function range(all) {
  let low = Infinity;
  let high = -Infinity;
  const see = (v) => { low = Math.min(low, v); high = Math.max(high, v); };
  for (const s of all) {
    for (const p of s.points) see(p.mm - s.zero);
    if (s.fit) for (let d = 0; d < 360; d += 10) see(fitted(s.fit, d) - s.zero);
  }
  const least = 0.01; // a hundredth: below that the noise would fill the paper
  const extra = Math.max((high - low) * 0.08, (least - (high - low)) / 2);
  return [low - extra, high + extra];
}

export function watch() {
  new ResizeObserver(() => { painted = null; change(); }).observe(byId('trace').parentElement);
}

let painted = null;

export function curve(data, snap, unit) {
  const key = `${unit.label}${snap.sweep.phase === 'idle'}`;
  if (painted?.data === data && painted.key === key) return;
  painted = { data, key };
  const svg = byId('trace');
  const box = svg.parentElement;
  const style = getComputedStyle(box);
  const inside = Math.floor(box.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight));
  const w = inside > 50 ? inside : narrow.w;
  const h = style.position === 'absolute' ? Math.max(lowest, svg.clientHeight) : w < 500 ? narrow.h : 240; // on a phone as high as its box
  const all = data?.points.length ? series(data) : [];
  svg.classList.toggle('gone', !all.length);
  set(svg, { viewBox: `0 0 ${w} ${h}` });
  if (all.length) paint(svg, all, w, h, unit);
  else svg.replaceChildren();
  words(all, snap, unit);
}

// The words under the degrees are left out where there is no room for them.
const below = (h) => (h < 160 ? 20 : pad.bottom);

function paint(svg, all, w, h, unit) {
  const x = (deg) => pad.left + (deg / 360) * (w - pad.left - pad.right);
  const [low, high] = range(all);
  const y = (v) => pad.top + ((high - v) / (high - low)) * (h - pad.top - below(h));
  const out = [...grid(w, h, x, y, low, high, unit)];
  for (const s of all) {
    const dots = s.points.map((p) => `M${x(p.deg).toFixed(1)} ${y(p.mm - s.zero).toFixed(1)}h0`).join('');
    out.push(draw('path', { class: `dots i${s.indicator % 2}${s.points.length <= 36 ? ' few' : ''}`, d: dots }));
    if (!s.fit) continue;
    const line = [];
    for (let d = 0; d <= 360; d += 3) line.push(`${x(d).toFixed(1)} ${y(fitted(s.fit, d) - s.zero).toFixed(1)}`);
    out.push(draw('path', { class: `fit i${s.indicator % 2}`, d: `M${line.join('L')}` }));
  }
  svg.replaceChildren(...out);
}

function grid(w, h, x, y, low, high, unit) {
  const out = [];
  for (const deg of [0, 90, 180, 270, 360]) {
    out.push(draw('path', { class: 'rule', d: `M${x(deg)} ${pad.top}V${h - below(h)}` }));
    const anchor = deg === 0 ? 'start' : deg === 360 ? 'end' : 'middle';
    if (w >= 300 || deg % 180 === 0) out.push(label(x(deg), h - below(h) + 17, `${deg}°`, anchor));
    if (h >= 160) out.push(label(x(deg), h - below(h) + 34, t(`way.${(deg / 45) % 8}`), anchor));
  }
  const by = unit.inch ? 25.4 : 1; // round steps in the unit that is read
  const step = niceStep((high - low) / by / (h < 160 ? 2 : 4));
  const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  for (let k = Math.ceil(low / by / step); k * step * by <= high; k++) {
    out.push(draw('path', { class: 'rule', d: `M${pad.left} ${y(k * step * by)}H${w - pad.right}` }));
    out.push(label(pad.left - 6, y(k * step * by) + 4, bare(k * step * by, unit, unit.inch ? digits - 1 : digits), 'end'));
  }
  return out;
}

function label(x, y, text, anchor) {
  const el = draw('text', { x, y, 'text-anchor': anchor });
  el.textContent = text;
  return el;
}

// runCurve draws the curve of a stored run into its sheet; there is none where nothing can be drawn.
export function runCurve(data, unit) {
  const box = document.querySelector('.run-plot');
  if (!box) return;
  if (!data?.points.length) {
    box.parentElement.remove();
    return;
  }
  const w = Math.max(280, Math.floor(box.clientWidth));
  const svg = draw('svg', { viewBox: `0 0 ${w} 120`, role: 'img', 'aria-label': t('curve.title') });
  const all = series(data);
  paint(svg, all, w, 120, unit);
  box.replaceChildren(svg, make('p', 'small', said(all, unit)));
}

const said = (all, unit) => [t(all.length > 1 ? 'trace.several' : 'trace.one', { unit: unit.inch ? 'in' : 'mm' }), all.some((s) => s.fit) ? t('trace.fit') : ''].filter(Boolean).join(' ');

function words(all, snap, unit) {
  let text = t(snap.sweep.phase === 'idle' ? 'trace.none' : 'trace.soon');
  if (all.length) {
    text = [snap.sweep.phase === 'idle' && snap.last ? t('trace.last', { run: snap.last.run }) : '', said(all, unit)].filter(Boolean).join(' ');
  }
  setText(byId('trace-words'), text);
}
