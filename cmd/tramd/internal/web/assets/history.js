// Over weeks and years: each axis of every check against time, its limits, what happened in between, and what is expected.
import { byId, make, setDated, setText } from './dom.js';
import { change, onPaint, state } from './state.js';
import { onArrive } from './router.js';
import { unitNow } from './frame.js';
import { chart, ms } from './chart.js';
import { inWords, signed, size, expanded } from './units.js';
import { dateOf, when } from './words.js';
import { reason } from './api.js';
import { say } from './say.js';
import { many, named, t } from './t.js';

const day = 86_400_000;

let span = null; // [from, to] that is shown; null: all
let chosen = null; // the check that is read out
let axisAsked = null;
let painted = '';

export async function loadHistory() {
  try {
    const answer = await fetch('/api/v1/drift');
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error);
    change({ history: body, historyFailed: '' });
  } catch (e) {
    change({ historyFailed: t('history.failed', { why: reason(e) }) });
  }
}

export function wireHistory() {
  onPaint(paint);
  onArrive((at) => {
    axisAsked = at.view === 'history' ? at.query.get('axis') : null;
    painted = '';
    change();
  });
  new ResizeObserver(() => { painted = ''; change(); }).observe(byId('history'));
  for (const b of byId('history-zoom').querySelectorAll('button')) {
    b.addEventListener('click', () => (b.dataset.days ? last(Number(b.dataset.days)) : zoom(Number(b.dataset.by))));
  }
  for (const axis of ['tilt', 'nod']) gestures(byId(`history-${axis}`));
}

const checks = () => state.history?.checks ?? [];

// whole is all there is to show: the checks, and what is expected after them at most as long as what has been.
function whole() {
  const list = checks();
  const from = ms(list[0].time);
  const end = ms(list.at(-1).time);
  const ahead = (state.history.ahead ?? []).map((m) => ms(m.time)).filter((at) => at <= end + Math.max(end - from, 7 * day));
  return [from, Math.max(end, ...ahead, from + day)];
}

function show(from, to) {
  const [a, b] = whole();
  const least = 2 * day;
  const width = Math.min(b - a, Math.max(least, to - from));
  const start = Math.min(Math.max(from, a), b - width);
  span = width >= b - a ? null : [start, start + width];
  change();
}

function last(days) {
  if (!checks().length) return;
  const b = ms(checks().at(-1).time) + days * day * 0.15; // and a little of the forecast
  if (days === 0) span = null;
  else show(b - days * day, b);
  for (const x of byId('history-zoom').querySelectorAll('[data-days]')) x.setAttribute('aria-pressed', String(Number(x.dataset.days) === days));
  change();
}

// zoom makes the span so many times as long about a moment.
function zoom(by, about = null) {
  if (!checks().length) return;
  const [from, to] = span ?? whole();
  const mid = about ?? (from + to) / 2;
  for (const x of byId('history-zoom').querySelectorAll('[data-days]')) x.setAttribute('aria-pressed', 'false');
  show(mid - (mid - from) * by, mid + (to - mid) * by);
}

// gestures lets a pointer, a wheel and the keys read and zoom a chart.
function gestures(svg) {
  let drag = null;
  const timeAt = (e) => {
    const box = svg.getBoundingClientRect();
    const g = svg.dataset;
    const [from, to] = span ?? whole();
    return from + ((e.clientX - box.left - Number(g.left)) / (Number(g.right) - Number(g.left))) * (to - from);
  };
  svg.addEventListener('pointermove', (e) => {
    if (!checks().length) return;
    if (drag) {
      const [from, to] = drag.span;
      const per = (to - from) / (Number(svg.dataset.right) - Number(svg.dataset.left));
      const by = (drag.x - e.clientX) * per;
      if (Math.abs(drag.x - e.clientX) > 4) show(from + by, to + by);
    }
    read(nearest(timeAt(e)));
  });
  svg.addEventListener('pointerdown', (e) => {
    if (e.pointerType === 'mouse' && checks().length) {
      drag = { x: e.clientX, span: span ?? whole() };
      svg.setPointerCapture(e.pointerId);
    } else if (checks().length) read(nearest(timeAt(e)));
  });
  for (const end of ['pointerup', 'pointercancel']) svg.addEventListener(end, () => { drag = null; });
  svg.addEventListener('wheel', (e) => {
    if (!checks().length) return;
    e.preventDefault();
    zoom(e.deltaY > 0 ? 1.25 : 0.8, timeAt(e));
  }, { passive: false });
  svg.addEventListener('keydown', (e) => {
    const list = checks();
    if (!list.length) return;
    const at = chosen === null ? list.length : chosen;
    const to = { ArrowLeft: at - 1, ArrowRight: at + 1, Home: 0, End: list.length - 1 }[e.key];
    if (e.key === '+' || e.key === '-') zoom(e.key === '+' ? 0.5 : 2);
    else if (to === undefined) return;
    else read(Math.min(list.length - 1, Math.max(0, to)));
    e.preventDefault();
  });
  svg.addEventListener('dblclick', (e) => {
    const i = nearest(timeAt(e));
    if (checks()[i]?.run) location.assign(`/runs/${checks()[i].run}`);
  });
}

function nearest(at) {
  const list = checks();
  let best = 0;
  for (let i = 1; i < list.length; i++) if (Math.abs(ms(list[i].time) - at) < Math.abs(ms(list[best].time) - at)) best = i;
  return best;
}

function read(i) {
  if (chosen === i) return;
  chosen = i;
  change();
}

function paint({ view, history, historyFailed, snap }) {
  if (view !== 'history' || !snap) return;
  const unit = unitNow();
  const key = JSON.stringify([unit.label, historyFailed, history?.checks?.length, history?.checks?.at(-1)?.time, history?.alarms, history?.next_check, span, chosen, axisAsked]);
  if (key === painted) return;
  painted = key;
  words(unit);
  const list = historyFailed ? [] : checks();
  const enough = list.length >= 2;
  for (const axis of ['tilt', 'nod']) {
    const svg = byId(`history-${axis}`);
    const box = svg.parentElement;
    box.classList.toggle('gone', !enough || (axisAsked === 'tilt' || axisAsked === 'nod' ? axis !== axisAsked : false));
    const w = Math.floor(box.clientWidth);
    if (enough && w >= 50) chart(svg, { history, axis, span: span ?? whole(), width: w, height: axisAsked ? 320 : innerWidth >= 1100 ? 152 : 190, unit, chosen });
  }
  byId('history-key').classList.toggle('gone', !enough);
  byId('history-zoom').classList.toggle('gone', !enough);
  setText(byId('history-read'), enough && chosen !== null ? readOut(list[chosen], unit) : enough ? t('history.hover') : '');
}

function readOut(c, unit) {
  const one = (axis) => {
    const m = c.measured?.[axis];
    return m ? `${t(`axis.${axis}`)} ${signed(m.mm_per_m, unit)}${m.u_mm_per_m == null ? '' : ` ± ${expanded(1.96 * m.u_mm_per_m, unit)}`}` : `${t(`axis.${axis}`)} –`;
  };
  return `${when(c.time)}${c.run ? ` · ${t('runs.run')} ${c.run}` : ''} · ${one('tilt')}, ${one('nod')} ${unit.label}${c.alarm === 'none' ? '' : ` · ${named('alarm', c.alarm)}`}`;
}

function words(unit) {
  const { history, historyFailed } = state;
  const list = [];
  if (historyFailed) list.push(historyFailed);
  const total = history?.total ?? 0;
  if (!historyFailed && total === 0) list.push(t('history.empty'));
  if (total > 0) {
    list.push(many('history.checks', total, { date: dateOf(history.checks[0].time) }));
    for (const axis of ['tilt', 'nod']) {
      const a = history.checks.at(-1).axis?.[axis];
      const warm = history.axes?.[axis]?.mm_per_m_per_k;
      if (!a || total < 3) continue;
      const values = { axis: t(`axis.${axis}`), level: signed(a.level_mm_per_m, unit, a.u_mm_per_m), unit: unit.label };
      list.push(warm === undefined ? t('history.level', values)
        : t('history.warm', { ...values, at: history.at_temperature_c.toFixed(1), per: signed(warm, unit, 1.96 * history.axes[axis].u_mm_per_m_per_k) }));
    }
  }
  setText(byId('history-words'), list.join(' '));
  setDated(byId('history-next'), nextCheck(history, total));
  byId('alarms').replaceChildren(...(history?.alarms ?? []).map((a) => alarm(a, unit)));
  byId('events').replaceChildren(...(history?.events ?? []).toReversed().slice(0, 40).map((e) => make('li', '', `${dateOf(e.time)} · ${named('event.kind', e.kind)}${e.text ? `: ${inWords(e.text, unit)}` : ''}`)));
}

export function nextCheck(history, total) {
  const next = history?.next_check;
  const out = history?.outside_expected;
  let due = history && total > 0 ? say(history.why || '') : '';
  if (next) due = next.spindle_hours ? t('history.next.hours', { date: dateOf(next.time), hours: Math.round(next.spindle_hours) }) : t('history.next', { date: dateOf(next.time) });
  if (out) due += ` ${t('history.outside', { date: dateOf(out.time), low: dateOf(out.low), high: out.high ? dateOf(out.high) : t('history.later') })}`;
  return due.trim();
}

function alarm(a, unit) {
  const li = make('li', a.kind);
  const said = a.text ? inWords(a.text, unit) : t('alarm.since', { axis: t(`axis.${a.axis}`), size: size(a.size_mm_per_m, unit), unit: unit.label, date: dateOf(a.since) });
  const words = make('span');
  setDated(words, `${said}.`);
  li.append(make('strong', '', `${named('alarm', a.kind)}: `), words);
  return li;
}
