// Reading against the angle where the indicator touched: a mark for each degree that was seen, and the fitted curve through them.
import { byId, draw, set, setText } from './dom.js';
import { mm, niceStep } from './units.js';

const pad = { left: 58, right: 14, top: 12, bottom: 40 };
const sidesOf = { 0: 'right', 90: 'back', 180: 'left', 270: 'front', 360: 'right' };

let last = null;

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

export function curve(next) {
  last = next;
  paint();
}

export function watch() {
  new ResizeObserver(() => paint()).observe(byId('trace').parentElement);
}

function paint() {
  const svg = byId('trace');
  const w = Math.floor(svg.parentElement.clientWidth - 2 * parseFloat(getComputedStyle(svg.parentElement).paddingLeft));
  const h = w < 500 ? 220 : 260;
  if (w < 50) return;
  svg.classList.toggle('gone', !last?.points.length);
  set(svg, { viewBox: `0 0 ${w} ${h}`, width: w, height: h });
  const x = (deg) => pad.left + (deg / 360) * (w - pad.left - pad.right);
  const all = last ? series(last) : [];
  const empty = all.length === 0;
  const [low, high] = empty ? [-0.05, 0.05] : range(all);
  const y = (v) => pad.top + ((high - v) / (high - low)) * (h - pad.top - pad.bottom);

  const out = [...grid(w, h, x, y, low, high, empty)];
  for (const s of all) {
    const dots = s.points.map((p) => `M${x(p.deg).toFixed(1)} ${y(p.mm - s.zero).toFixed(1)}h0`).join('');
    out.push(draw('path', { class: `dots i${s.indicator % 2}${s.points.length <= 36 ? ' few' : ''}`, d: dots }));
    if (!s.fit) continue;
    const line = [];
    for (let d = 0; d <= 360; d += 3) line.push(`${x(d).toFixed(1)} ${y(fitted(s.fit, d) - s.zero).toFixed(1)}`);
    out.push(draw('path', { class: `fit i${s.indicator % 2}`, d: `M${line.join('L')}` }));
  }
  svg.replaceChildren(...out);
  words(all);
}

function grid(w, h, x, y, low, high, empty) {
  const out = [];
  for (const deg of [0, 90, 180, 270, 360]) {
    out.push(draw('path', { class: 'rule', d: `M${x(deg)} ${pad.top}V${h - pad.bottom}` }));
    const anchor = deg === 0 ? 'start' : deg === 360 ? 'end' : 'middle';
    out.push(label(x(deg), h - pad.bottom + 17, `${deg}°`, anchor), label(x(deg), h - pad.bottom + 34, sidesOf[deg], anchor));
  }
  if (empty) return out;
  const step = niceStep((high - low) / 5);
  const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  for (let k = Math.ceil(low / step); k * step <= high; k++) {
    out.push(draw('path', { class: 'rule', d: `M${pad.left} ${y(k * step)}H${w - pad.right}` }));
    out.push(label(pad.left - 6, y(k * step) + 4, mm(k * step, digits), 'end'));
  }
  return out;
}

function label(x, y, text, anchor) {
  const t = draw('text', { x, y, 'text-anchor': anchor });
  t.textContent = text;
  return t;
}

function words(all) {
  let text = 'No sweep in hand: the readings appear here as the arm goes round.';
  if (all.length) {
    const fit = all.some((s) => s.fit);
    const what = all.length > 1 ? 'each indicator about its own mean' : 'reading';
    text = `Up: ${what}, mm. Across: where the indicator touched. Dots: mean of the readings in each degree.${fit ? ' Line: the fitted lean.' : ''}`;
  }
  setText(byId('trace-words'), text);
}
