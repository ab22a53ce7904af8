// What the lean leaves over, reading by reading, against the angle where the indicator touched.
import { draw } from './dom.js';
import { bare, niceStep } from './units.js';
import { runCurve } from './curve.js';
import { many, t } from './t.js';
import { reason } from './api.js';

const mostRows = 20000;
const header = ['t_s', 'angle_deg', 'reading_mm', 'indicator'].join();
const pad = { left: 62, right: 14, top: 12, bottom: 24 };
const height = 240;

let kept = { run: null, rows: null }; // a change of unit or width needs no second download
let shown = null;

const watcher = new ResizeObserver(() => shown && paint());

export async function residuals(run, signal, unit) {
  shown = null;
  const words = document.querySelector('.rest-words');
  const box = document.querySelector('.rest-plot');
  if (!words || !box) return;
  const say = (text) => {
    words.textContent = text;
    if (text) runCurve(null, unit);
  };
  const r = run.result;
  if (!r.tilt && !r.nod) return say(t('rest.noaxis'));
  if (!run.readings) return say(t('rest.noreadings'));
  if (run.readings > mostRows) return say(t('rest.toomany', { n: run.readings }));
  try {
    const key = `${run.id}/${run.readings}`;
    if (kept.run !== key) {
      words.textContent = t('detail.reading');
      const answer = await fetch(`/api/v1/runs/${run.id}/readings.csv`, { signal });
      if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).error || t('error.answered', { status: answer.status }));
      kept = { run: key, rows: parse(await answer.text()) };
    }
  } catch (e) {
    if (!signal.aborted) say(t('rest.failed', { why: reason(e) }));
    return;
  }
  if (signal.aborted || !box.isConnected) return;
  shown = { box, words, r, unit, points: left(kept.rows, run), curve: curveOf(kept.rows, run) };
  watcher.disconnect();
  watcher.observe(box);
  paint();
}

function parse(text) {
  const lines = text.split('\n');
  if (lines[0].trim() !== header) throw new Error(t('rest.columns'));
  const rows = [];
  for (const line of lines.slice(1, mostRows + 1)) {
    const [t, deg, reading, ...name] = line.trim().split(',');
    if (!deg || !reading) continue; // no angle, or the end
    rows.push({ t: Number(t), deg: Number(deg), mm: Number(reading), name: name.join(',') });
  }
  return rows;
}

// contact returns the angle at which an indicator touched, from 0 to 360.
const contact = (deg, ind) => ((((deg + (ind.phase_deg ?? 0)) % 360) + 360) % 360);

// curveOf returns the mean reading in each degree, and the fitted lean, of each indicator: what the now view draws.
function curveOf(rows, run) {
  const r = run.result;
  const list = run.setup?.indicators ?? [];
  const offsets = r.offsets_mm ?? [r.offset_mm];
  const bins = new Map();
  for (const row of rows) {
    const indicator = Math.max(0, list.findIndex((x) => x.name === row.name));
    if (!list[indicator] || isOut(r.rejections, row.t, indicator)) continue;
    const deg = Math.floor(contact(row.deg, list[indicator]));
    const bin = bins.get(`${indicator}/${deg}`) ?? { indicator, deg: deg + 0.5, sum: 0, n: 0 };
    bin.sum += row.mm;
    bin.n++;
    bins.set(`${indicator}/${deg}`, bin);
  }
  const points = [...bins.values()].map((b) => ({ indicator: b.indicator, deg: b.deg, mm: b.sum / b.n })).filter((p) => Number.isFinite(p.mm));
  const fit = list.map((ind, indicator) => ({ indicator, mean_mm: offsets[indicator], cos_mm: (ind.radius_mm * (r.tilt?.mm_per_m ?? 0)) / 1000, sin_mm: (ind.radius_mm * (r.nod?.mm_per_m ?? 0)) / 1000 }));
  return { points, fit: fit.filter((f) => f.mean_mm != null) };
}

// left takes offset and lean off each reading: z - (c + r*(tilt*cos + nod*sin)).
function left(rows, run) {
  const r = run.result;
  const list = run.setup?.indicators ?? [];
  const offsets = r.offsets_mm ?? [r.offset_mm];
  const out = [];
  for (const row of rows) {
    const i = Math.max(0, list.findIndex((x) => x.name === row.name));
    const ind = list[i];
    if (!ind || offsets[i] == null) continue;
    const deg = row.deg + (ind.phase_deg ?? 0);
    const a = (deg * Math.PI) / 180;
    const lean = ((r.tilt?.mm_per_m ?? 0) * Math.cos(a) + (r.nod?.mm_per_m ?? 0) * Math.sin(a)) / 1000;
    const mm = row.mm - offsets[i] - ind.radius_mm * lean;
    if (Number.isFinite(mm + deg)) out.push({ deg: ((deg % 360) + 360) % 360, mm, indicator: i, out: isOut(r.rejections, row.t, i) });
  }
  return out;
}

const close = 2e-6; // seconds: the file is written to the microsecond

function isOut(list, t, indicator) {
  return (list ?? []).some((x) => x.code !== 'no_angle' && x.indicator === indicator && t >= x.from_s - close && t <= x.to_s + close);
}

const form = (list, deg) => list.reduce((sum, h) => sum + h.amplitude_mm * Math.cos((h.order * (deg - h.phase_deg) * Math.PI) / 180), 0);

// range covers the readings that were fitted: those left out may lie far beyond.
function range({ points, r }) {
  let [low, high] = [-0.002, 0.002];
  const see = (v) => { low = Math.min(low, v); high = Math.max(high, v); };
  for (const p of points) if (!p.out) see(p.mm);
  if (r.form) for (let d = 0; d < 360; d += 5) see(form(r.form, d));
  const extra = (high - low) * 0.08;
  return [low - extra, high + extra];
}

function paint() {
  const { box, words, r, unit, points } = shown;
  const w = Math.floor(box.clientWidth);
  if (w < 50) return;
  const [low, high] = range(shown);
  const x = (deg) => pad.left + (deg / 360) * (w - pad.left - pad.right);
  const y = (v) => pad.top + ((high - Math.min(high, Math.max(low, v))) / (high - low)) * (height - pad.top - pad.bottom);
  const svg = draw('svg', { class: 'rest-svg', viewBox: `0 0 ${w} ${height}`, width: w, height, role: 'img', 'aria-label': t('rest.label') });
  svg.append(...grid(w, x, y, low, high, unit));
  const few = points.length <= 72 ? ' few' : '';
  for (const i of new Set(points.map((p) => p.indicator))) svg.append(dots(points.filter((p) => !p.out && p.indicator === i), `left-over i${i % 2}${few}`, x, y));
  const out = points.filter((p) => p.out);
  const crosses = new Set(out.map((p) => `M${Math.round(x(p.deg)) - 3} ${Math.round(y(p.mm)) - 3}l6 6m0-6l-6 6`));
  if (out.length) svg.append(draw('path', { class: 'out', d: [...crosses].join('') }));
  if (r.form?.length) {
    const line = [];
    for (let d = 0; d <= 360; d += 2) line.push(`${x(d).toFixed(1)} ${y(form(r.form, d)).toFixed(1)}`);
    svg.append(draw('path', { class: 'form-line', d: `M${line.join('L')}` }));
  }
  box.replaceChildren(svg);
  runCurve(shown.curve, unit);
  const beyond = out.filter((p) => p.mm < low || p.mm > high).length;
  words.textContent = [
    t('rest.words', { unit: unit.inch ? 'in' : 'mm' }),
    r.form?.length ? t('rest.form') : '',
    out.length ? many('rest.crosses', out.length) : '',
    beyond ? many('rest.beyond', beyond) : '',
  ].filter(Boolean).join(' ');
}

// dots draws each place once, however many readings lie there.
function dots(points, className, x, y) {
  const places = new Set(points.map((p) => `M${(2 * x(p.deg)).toFixed() / 2} ${(2 * y(p.mm)).toFixed() / 2}h0`));
  return draw('path', { class: className, d: [...places].join('') });
}

function grid(w, x, y, low, high, unit) {
  const out = [];
  const label = (px, py, text, anchor) => {
    const t = draw('text', { x: px, y: py, 'text-anchor': anchor });
    t.textContent = text;
    out.push(t);
  };
  for (const deg of [0, 90, 180, 270, 360]) {
    out.push(draw('path', { class: 'rule', d: `M${x(deg)} ${pad.top}V${height - pad.bottom}` }));
    label(x(deg), height - 6, `${deg}°`, deg === 0 ? 'start' : deg === 360 ? 'end' : 'middle');
  }
  const by = unit.inch ? 25.4 : 1;
  const step = niceStep((high - low) / by / 5);
  const digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  for (let k = Math.ceil(low / by / step); k * step * by <= high; k++) {
    out.push(draw('path', { class: k === 0 ? 'rule nought' : 'rule', d: `M${pad.left} ${y(k * step * by)}H${w - pad.right}` }));
    label(pad.left - 6, y(k * step * by) + 4, bare(k * step * by, unit, unit.inch ? digits - 1 : digits), 'end');
  }
  return out;
}
