// The devices, and what stands in the way of a good measurement: a store in trouble, a clock not set, a port lost.
import { byId, make, setText } from './dom.js';
import { onPaint } from './state.js';
import { unitNow } from './frame.js';
import { inWords, length } from './units.js';
import { ago, when } from './words.js';
import { say } from './say.js';
import { has, many, t } from './t.js';

const marks = { live: '●', settling: '◐', opening: '◔', absent: '○', lost: '✕', silent: '✕' };
const inputMarks = { on: '●', off: '○', unknown: '?' };

const rows = new Map();

function row(name) {
  if (!rows.has(name)) {
    const li = make('li');
    const r = { li, state: make('span', 'state'), name: make('span', 'name'), value: make('span', 'value'), more: make('span', 'more') };
    li.append(r.state, r.name, r.value, r.more);
    rows.set(name, r);
  }
  return rows.get(name);
}

function devices({ snap }) {
  if (!snap) return;
  const unit = unitNow();
  const ul = byId('devices');
  const list = [
    ...(snap.devices ?? []).map((d) => [d.name, d.state, `${marks[d.state] ?? '·'} ${stateWord(d.state)}`, d.name, value(d, snap, unit), inWords(more(d), unit)]),
    ...machineSays(snap),
  ];
  for (const [key, className, state, name, text, rest] of list) {
    const r = row(key);
    r.li.className = `device ${className}`;
    setText(r.state, state);
    setText(r.name, name);
    setText(r.value, text);
    setText(r.more, rest);
    if (r.li.parentElement !== ul) ul.append(r.li);
  }
  for (const [name, r] of rows) {
    if (list.some(([key]) => key === name)) continue;
    r.li.remove();
    rows.delete(name);
  }
}

const stateWord = (state) => (has(`device.${state}`) ? t(`device.${state}`) : state);

// machineSays is what the machine says of itself: its input lines, and how long its spindle has run.
function machineSays(snap) {
  const list = (snap.inputs ?? []).map((i) => [
    `input ${i.name}`, i.state === 'unknown' ? 'lost' : 'live', `${inputMarks[i.state] ?? '?'} ${t('device.input')}`, i.name, t(`input.${i.state}`), [t('device.for', { ago: ago(i.since_s) }), say(i.error)].filter(Boolean).join(' · '),
  ]);
  const h = snap.hours;
  if (h) {
    const known = h.hours != null;
    list.push(['spindle hours', known && !h.error ? 'live' : 'lost', known ? `● ${t('hours.kept')}` : `? ${t('hours.unknown')}`, t('hours.title'), known ? `${h.hours.toFixed(1)} h` : t('hours.notyet'), [t('hours.by', { from: say(h.from) }), say(h.error)].filter(Boolean).join(' · ')]);
  }
  return list;
}

function value(d, snap, unit) {
  if (d.role === 'machine') return t(d.state === 'live' ? 'device.answers' : 'device.noanswer');
  if (d.role === 'position') return d.state === 'live' && snap.position?.mm != null ? `${snap.position.mm.toFixed(2)} mm` : t('device.noposition');
  if (d.role === 'angle') return d.state === 'live' && snap.angle.deg != null ? `${snap.angle.deg.toFixed(1)}°` : t('device.noangle');
  return d.reading_mm == null ? t('device.noreading') : length(d.reading_mm, unit);
}

// more says in words what came through a port. Faults count as lines that could not be read, whatever was wrong with each.
function more(d) {
  const bits = [many('readings', d.readings)];
  const bad = Object.values(d.faults ?? {}).reduce((sum, n) => sum + n, 0);
  if (bad > 0) bits.push(many('device.bad', bad));
  if (d.asked) bits.push(t('device.asked', { answered: d.answered ?? 0, asked: d.asked, ms: (d.answer_ms ?? 0).toFixed(0) }));
  if (d.reconnects) bits.push(many('device.reconnects', d.reconnects));
  if (d.state !== 'live') bits.push(t('device.for', { ago: ago(d.since_s) }));
  if (d.error) bits.push(d.error);
  return bits.join(' · ');
}

// troubles returns what stands in the way of a good measurement, the worst first, as [kind, text].
export function troubles({ snap, news }) {
  const list = [];
  if (news.stale) list.push(['old', news.ever ? t('notice.stale', { s: Math.floor(news.seconds) }) : t('notice.none')]);
  if (!snap) return list;
  if (snap.sweep.phase === 'returning' || snap.sweep.phase === 'stopping') list.push(['moves', t(`notice.${snap.sweep.phase}`)]);
  if (snap.check?.moves && snap.check.next && !snap.check.dry_run && snap.angle.armed_until) list.push(['moves', t('notice.moves', { when: when(snap.check.next) })]);
  if (!snap.store.ok) list.push(['bad', t('notice.store', { why: say(snap.store.error) || t('notice.log') })]);
  for (const d of snap.devices ?? []) {
    if (['lost', 'absent', 'silent'].includes(d.state)) list.push(['bad', t(`notice.${d.state}`, { device: d.name })]);
  }
  for (const why of Object.values(snap.troubles ?? {})) list.push(['bad', why]);
  if (!snap.clock.set) list.push(['note', t('notice.clock')]);
  if (snap.sweep.untagged > 0) list.push(['note', many('notice.untagged', snap.sweep.untagged)]);
  return list;
}

export const wireDevices = () => onPaint(devices);
