// One axis of the history as a drawing: the checks with their intervals, the limit, events, and what is to come.
import { draw, set } from './dom.js';
import { niceStep } from './units.js';
import { dateOf } from './words.js';
import { say } from './say.js';
import { named } from './t.js';

const pad = { left: 62, right: 12, top: 10, bottom: 24 };

export const ms = (text) => new Date(text).getTime();

export function chart(svg, { history, axis, span: [from, to], width: w, height: h, unit, chosen }) {
  set(svg, { viewBox: `0 0 ${w} ${h}`, width: w, height: h, 'data-left': pad.left, 'data-right': w - pad.right });
  const inside = (c) => ms(c.time) >= from && ms(c.time) <= to;
  const checks = history.checks.filter((c) => c.measured?.[axis] && inside(c));
  const ahead = (history.ahead ?? []).filter((m) => m.axis?.[axis] && ms(m.time) <= to);
  const x = (at) => pad.left + ((at - from) / (to - from)) * (w - pad.left - pad.right);
  const limit = history.limit_mm_per_m;
  const [low, high] = range(checks, axis, limit, ahead);
  const y = (v) => pad.top + ((high - v) / (high - low)) * (h - pad.top - pad.bottom);
  const bound = (v) => Math.min(Math.max(y(v), pad.top), h - pad.bottom);
  const out = grid({ w, h, x, y, low, high, from, to, unit });
  if (limit > 0) {
    const [top, bottom] = [bound(limit), bound(-limit)];
    out.push(draw('rect', { class: 'inside', x: pad.left, y: top, width: w - pad.left - pad.right, height: Math.max(0, bottom - top) }));
    for (const v of [limit, -limit]) if (v > low && v < high) out.push(draw('path', { class: 'limit', d: `M${pad.left} ${y(v)}H${w - pad.right}` }));
  }
  for (const e of history.events ?? []) {
    if (!inside(e)) continue;
    const mark = draw('path', { class: 'event', d: `M${x(ms(e.time)).toFixed(1)} ${pad.top}V${h - pad.bottom}` });
    const title = draw('title');
    title.textContent = `${dateOf(e.time)} ${named('event.kind', e.kind)}${e.text ? `: ${say(e.text)}` : ''}`;
    mark.append(title);
    out.push(mark);
  }
  if (ahead.length) {
    const edge = (sign) => ahead.map((m) => `${x(Math.max(from, ms(m.time))).toFixed(1)} ${bound(m.axis[axis].level_mm_per_m + sign * 1.96 * (m.axis[axis].u_mm_per_m ?? 0)).toFixed(1)}`);
    out.push(draw('path', { class: 'ahead', d: `M${edge(1).join('L')}L${edge(-1).reverse().join('L')}Z` }));
  }
  const bars = checks.length > 150 ? [] : checks.map((c) => {
    const v = c.measured[axis];
    const U = 1.96 * (v.u_mm_per_m ?? 0);
    return `M${x(ms(c.time)).toFixed(1)} ${bound(v.mm_per_m - U).toFixed(1)}V${bound(v.mm_per_m + U).toFixed(1)}`;
  });
  out.push(draw('path', { class: 'bars', d: bars.join('') }));
  for (const [name, mine] of [['quiet', (c) => alarmOf(c, axis) === 'none'], ['loud', (c) => alarmOf(c, axis) !== 'none']]) {
    const d = checks.filter(mine).map((c) => `M${x(ms(c.time)).toFixed(1)} ${bound(c.measured[axis].mm_per_m).toFixed(1)}h0`).join('');
    out.push(draw('path', { class: `checks ${name}`, d }));
  }
  const c = chosen === null ? null : history.checks[chosen];
  if (c && inside(c)) {
    out.push(draw('path', { class: 'cursor', d: `M${x(ms(c.time)).toFixed(1)} ${pad.top}V${h - pad.bottom}` }));
    if (c.measured?.[axis]) out.push(draw('circle', { class: 'cursor', cx: x(ms(c.time)).toFixed(1), cy: bound(c.measured[axis].mm_per_m).toFixed(1), r: 7 }));
  }
  svg.replaceChildren(...out);
}

// alarmOf is the alarm of this axis alone: an alarm of the tilt marks nothing of the nod.
const alarmOf = (c, axis) => c.alarms?.[axis] ?? c.alarm;

// range holds the limits when the checks come anywhere near them; a machine far inside is shown large. It holds the level that
// is expected, and of its band as much as doubles the room: a band must not be clipped to nothing, nor press the checks flat.
function range(checks, axis, limit, ahead) {
  let low = 0;
  let high = 0;
  for (const c of checks) {
    const v = c.measured[axis];
    const u = v.u_mm_per_m ?? 0;
    low = Math.min(low, v.mm_per_m - 2 * u);
    high = Math.max(high, v.mm_per_m + 2 * u);
  }
  const levels = ahead.map((m) => m.axis[axis].level_mm_per_m);
  low = Math.min(low, ...levels);
  high = Math.max(high, ...levels);
  const room = Math.max(high - low, 0.01) / 2;
  const edges = ahead.map((m) => 1.96 * (m.axis[axis].u_mm_per_m ?? 0));
  const [lowest, highest] = [low - room, high + room];
  low = Math.max(lowest, Math.min(low, ...levels.map((v, i) => v - edges[i])));
  high = Math.min(highest, Math.max(high, ...levels.map((v, i) => v + edges[i])));
  const most = Math.max(high, -low);
  if (limit > 0 && most > limit / 3) {
    high = Math.max(high, limit * 1.05);
    low = Math.min(low, -limit * 1.05);
  }
  const extra = Math.max((high - low) * 0.08, 0.002);
  return [low - extra, high + extra];
}

function grid({ w, h, x, y, low, high, from, to, unit }) {
  const out = [];
  const step = niceStep(((high - low) * unit.factor) / 4) / unit.factor;
  const digits = Math.max(0, -Math.floor(Math.log10(step * unit.factor) + 1e-9));
  for (let k = Math.ceil(low / step); k * step <= high; k++) {
    out.push(draw('path', { class: k === 0 ? 'rule zero' : 'rule', d: `M${pad.left} ${y(k * step)}H${w - pad.right}` }));
    out.push(label(pad.left - 6, y(k * step) + 4, (k * step * unit.factor).toFixed(digits).replace('-', '−'), 'end'));
  }
  for (const [at, anchor] of [[from, 'start'], [(from + to) / 2, 'middle'], [to, 'end']]) {
    if (anchor === 'middle' && w < 420) continue;
    out.push(label(x(at), h - 6, dateOf(at), anchor));
  }
  return out;
}

function label(x, y, text, anchor) {
  const el = draw('text', { x, y, 'text-anchor': anchor });
  el.textContent = text;
  return el;
}
