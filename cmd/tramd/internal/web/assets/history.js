// Over weeks: each axis of every check against time, its limits, what happened in between, and what is expected.
import { byId, draw, make, set, setText } from './dom.js';
import { niceStep, signed, size } from './units.js';
import { when } from './words.js';

const pad = { left: 60, right: 12, top: 10, bottom: 24 };
const day = 86_400_000;

let history = null;
let unit;
let failed = '';

export async function loadHistory() {
  try {
    const answer = await fetch('/api/v1/drift');
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error);
    history = body;
    failed = '';
  } catch (e) {
    failed = `The history cannot be read: ${e.message}`;
  }
  paint();
}

export function historyUnit(next) {
  if (unit?.label === next.label) return;
  unit = next;
  paint();
}

export function wireHistory() {
  new ResizeObserver(() => paint()).observe(byId('history'));
}

const ms = (text) => new Date(text).getTime();
const dateOf = (text) => when(text).slice(0, 10);

function paint() {
  if (!unit) return;
  words();
  const checks = history?.checks ?? [];
  for (const axis of ['tilt', 'nod']) {
    const svg = byId(`history-${axis}`);
    const w = Math.floor(svg.parentElement.clientWidth);
    svg.classList.toggle('gone', checks.length < 2 || w < 50);
    if (checks.length >= 2 && w >= 50) chart(svg, axis, w, 170);
  }
  byId('history-key').classList.toggle('gone', checks.length < 2);
}

function words() {
  const list = [];
  if (failed) list.push(failed);
  const total = history?.total ?? 0;
  if (!failed && total === 0) list.push('No checks yet: each sweep taken as a check is kept here.');
  if (total > 0) {
    list.push(`${total} ${total === 1 ? 'check' : 'checks'} since ${dateOf(history.checks[0].time)}.`);
    for (const axis of ['tilt', 'nod']) {
      const a = history.checks.at(-1).axis?.[axis];
      const warm = history.axes?.[axis]?.mm_per_m_per_k;
      if (a && total >= 3) list.push(`${axis === 'tilt' ? 'Tilt' : 'Nod'} stands at ${signed(a.level_mm_per_m, unit, a.u_mm_per_m)} ${unit.label}${warm === undefined ? '' : ` at ${history.at_temperature_c.toFixed(1)} °C, and leans with the temperature by ${signed(warm, unit, 1.96 * history.axes[axis].u_mm_per_m_per_k)} ${unit.label} per kelvin`}.`);
    }
  }
  setText(byId('history-words'), list.join(' '));
  const next = history?.next_check;
  const out = history?.outside_expected;
  let due = history && total > 0 ? history.why || '' : '';
  if (next) due = `Next check: ${dateOf(next.time)}${next.spindle_hours ? `, or after ${Math.round(next.spindle_hours)} spindle hours` : ''}.`;
  if (out) due += ` Outside is to be expected about ${dateOf(out.time)} (${dateOf(out.low)} to ${out.high ? dateOf(out.high) : 'much later'}).`;
  setText(byId('history-next'), due.trim());
  byId('alarms').replaceChildren(...(history?.alarms ?? []).map(alarm));
}

const names = { shift: 'It moved', trend: 'It is moving', outside: 'It is outside' };

function alarm(a) {
  const li = make('li', a.kind);
  li.append(make('strong', '', `${names[a.kind] ?? a.kind}: `), `${a.text || `${a.axis} by ${size(a.size_mm_per_m, unit)} ${unit.label} since ${dateOf(a.since)}`}.`);
  return li;
}

function chart(svg, axis, w, h) {
  set(svg, { viewBox: `0 0 ${w} ${h}`, width: w, height: h });
  const checks = history.checks.filter((c) => c.measured?.[axis]);
  const ahead = (history.ahead ?? []).filter((m) => m.axis?.[axis]);
  const from = ms(history.checks[0].time);
  const last = ms(history.checks.at(-1).time);
  // What is to come has at most as much room as what has been.
  const shown = ahead.filter((m) => ms(m.time) <= last + Math.max(last - from, 7 * day));
  const to = Math.max(last, ...shown.map((m) => ms(m.time)), from + day);
  const x = (t) => pad.left + ((t - from) / (to - from)) * (w - pad.left - pad.right);
  const limit = history.limit_mm_per_m;
  const [low, high] = range(checks, axis, limit);
  const y = (v) => pad.top + ((high - v) / (high - low)) * (h - pad.top - pad.bottom);
  const bound = (v) => Math.min(Math.max(y(v), pad.top), h - pad.bottom);
  const out = [...grid(w, h, x, y, low, high, from, to)];
  if (limit > 0) for (const v of [limit, -limit]) if (v > low && v < high) out.push(draw('path', { class: 'limit', d: `M${pad.left} ${y(v)}H${w - pad.right}` }));
  for (const e of history.events ?? []) {
    const t = ms(e.time);
    if (t < from || t > to) continue;
    const mark = draw('path', { class: 'event', d: `M${x(t).toFixed(1)} ${pad.top}V${h - pad.bottom}` });
    const title = draw('title');
    title.textContent = `${dateOf(e.time)} ${e.kind}${e.text ? `: ${e.text}` : ''}`;
    mark.append(title);
    out.push(mark);
  }
  if (shown.length) {
    const edge = (sign) => shown.map((m) => `${x(ms(m.time)).toFixed(1)} ${bound(m.axis[axis].level_mm_per_m + sign * 1.96 * (m.axis[axis].u_mm_per_m ?? 0)).toFixed(1)}`);
    out.push(draw('path', { class: 'ahead', d: `M${edge(1).join('L')}L${edge(-1).reverse().join('L')}Z` }));
  }
  const bars = checks.length <= 150 ? checks.map((c) => {
    const v = c.measured[axis];
    const U = 1.96 * (v.u_mm_per_m ?? 0);
    return `M${x(ms(c.time)).toFixed(1)} ${bound(v.mm_per_m - U).toFixed(1)}V${bound(v.mm_per_m + U).toFixed(1)}`;
  }) : [];
  out.push(draw('path', { class: 'bars', d: bars.join('') }));
  for (const [name, mine] of [['quiet', (c) => c.alarm === 'none'], ['loud', (c) => c.alarm !== 'none']]) {
    const d = checks.filter(mine).map((c) => `M${x(ms(c.time)).toFixed(1)} ${bound(c.measured[axis].mm_per_m).toFixed(1)}h0`).join('');
    out.push(draw('path', { class: `checks ${name}`, d }));
  }
  svg.replaceChildren(...out);
}

// range holds the limits when the checks come anywhere near them; a machine far inside is shown large.
function range(checks, axis, limit) {
  let low = 0;
  let high = 0;
  for (const c of checks) {
    const v = c.measured[axis];
    const u = v.u_mm_per_m ?? 0;
    low = Math.min(low, v.mm_per_m - 2 * u);
    high = Math.max(high, v.mm_per_m + 2 * u);
  }
  const most = Math.max(high, -low);
  if (limit > 0 && most > limit / 3) {
    high = Math.max(high, limit * 1.05);
    low = Math.min(low, -limit * 1.05);
  }
  const extra = Math.max((high - low) * 0.08, 0.002);
  return [low - extra, high + extra];
}

function grid(w, h, x, y, low, high, from, to) {
  const out = [];
  const step = niceStep(((high - low) * unit.factor) / 4) / unit.factor;
  const digits = Math.max(0, -Math.floor(Math.log10(step * unit.factor) + 1e-9));
  for (let k = Math.ceil(low / step); k * step <= high; k++) {
    out.push(draw('path', { class: k === 0 ? 'rule zero' : 'rule', d: `M${pad.left} ${y(k * step)}H${w - pad.right}` }));
    out.push(label(pad.left - 6, y(k * step) + 4, (k * step * unit.factor).toFixed(digits).replace('-', '−'), 'end'));
  }
  for (const [t, anchor] of [[from, 'start'], [(from + to) / 2, 'middle'], [to, 'end']]) {
    if (anchor === 'middle' && w < 420) continue;
    out.push(label(x(t), h - 6, dateOf(t), anchor));
  }
  return out;
}

function label(x, y, text, anchor) {
  const t = draw('text', { x, y, 'text-anchor': anchor });
  t.textContent = text;
  return t;
}
