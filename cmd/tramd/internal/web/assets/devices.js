// The devices, and what stands in the way of a good measurement: a store in trouble, a clock not set, a port lost.
import { byId, make, setText } from './dom.js';
import { mm } from './units.js';
import { ago, when } from './words.js';

const states = {
  live: ['●', 'live'], settling: ['◐', 'settling'], opening: ['◔', 'opening'], absent: ['○', 'not plugged in'], lost: ['✕', 'lost'], silent: ['✕', 'silent'],
};

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

export function devices(state) {
  const ul = byId('devices');
  const list = state.devices ?? [];
  for (const d of list) {
    const r = row(d.name);
    const [mark, word] = states[d.state] ?? ['·', d.state];
    r.li.className = `device ${d.state}`;
    setText(r.state, `${mark} ${word}`);
    setText(r.name, d.name);
    setText(r.value, value(d, state));
    setText(r.more, more(d));
    if (r.li.parentElement !== ul) ul.append(r.li);
  }
  const said = machineSays(state);
  for (const [name, className, mark, title, text, rest] of said) {
    const r = row(name);
    r.li.className = `device ${className}`;
    setText(r.state, mark);
    setText(r.name, title);
    setText(r.value, text);
    setText(r.more, rest);
    if (r.li.parentElement !== ul) ul.append(r.li);
  }
  for (const [name, r] of rows) {
    if (list.some((d) => d.name === name) || said.some(([own]) => own === name)) continue;
    r.li.remove();
    rows.delete(name);
  }
}

// machineSays is what the machine tells of itself: its input lines, and how long its spindle has run.
function machineSays(state) {
  const list = (state.inputs ?? []).map((i) => [
    `input ${i.name}`, i.state === 'unknown' ? 'lost' : 'live', `${inputMarks[i.state] ?? '?'} input`, i.name, i.state, [`for ${ago(i.since_s)}`, i.error].filter(Boolean).join(' · '),
  ]);
  const h = state.hours;
  if (h) {
    const known = h.hours != null;
    list.push(['spindle hours', known && !h.error ? 'live' : 'lost', known ? '● kept' : '? unknown', 'spindle hours', known ? `${h.hours.toFixed(1)} h` : 'not known yet', [`by ${h.from}`, h.error].filter(Boolean).join(' · ')]);
  }
  return list;
}

function value(d, state) {
  if (d.role === 'machine') return d.state === 'live' ? 'answers' : 'no answer';
  if (d.role === 'angle') return d.state === 'live' && state.angle.deg != null ? `${state.angle.deg.toFixed(1)}°` : 'no angle';
  return d.reading_mm == null ? 'no reading' : `${mm(d.reading_mm)} mm`;
}

function more(d) {
  const bits = [`${d.readings.toLocaleString('en')} readings`];
  const bad = Object.entries(d.faults ?? {}).filter(([, n]) => n > 0).map(([reason, n]) => `${n} ${reason}`);
  if (bad.length) bits.push(`bad frames: ${bad.join(', ')}`);
  if (d.asked) bits.push(`answered ${d.answered ?? 0} of ${d.asked} questions, the latest after ${(d.answer_ms ?? 0).toFixed(0)} ms`);
  if (d.reconnects) bits.push(`${d.reconnects} reconnects`);
  if (d.state !== 'live') bits.push(`for ${ago(d.since_s)}`);
  if (d.error) bits.push(d.error);
  return bits.join(' · ');
}

// troubles lists what stands in the way, as [kind, text].
function troubles(state, news) {
  const list = [];
  if (news.stale) list.push(['old', news.ever ? `No news for ${Math.floor(news.seconds)} s. What is shown is old.` : 'No news from the daemon yet.']);
  if (state) {
    if (!state.store.ok) list.push(['bad', `The store is in trouble: ${state.store.error || 'see the log'}. New readings may not be kept.`]);
    for (const d of state.devices ?? []) {
      if (d.state === 'lost' || d.state === 'absent') list.push(['bad', `${d.name} is ${d.state === 'lost' ? 'lost' : 'not plugged in'}: check the cable and its adapter.`]);
      if (d.state === 'silent') list.push(['bad', `${d.name} is silent: its port is open and nothing comes.`]);
    }
    for (const why of Object.values(state.troubles ?? {})) list.push(['bad', why]);
    if (state.check?.moves && state.check.next && !state.check.dry_run && state.angle.armed_until) list.push(['note', `Armed: the arm moves by itself at ${when(state.check.next)}. Keep clear of it.`]);
    if (!state.clock.set) list.push(['note', 'The clock of this computer has not been set: dates and times are not to be trusted.']);
    if (state.sweep.untagged > 0) list.push(['note', `${state.sweep.untagged} readings have no angle: they are stored, but not fitted.`]);
  }
  return list;
}

// spokenTroubles is the same for a listener, without the seconds that would be said over and over.
export const spokenTroubles = (state, news) => troubles(state, news).map(([kind, text]) => (kind === 'old' ? 'No news from the daemon. What is shown is old.' : text));

let shownNotices = '';

export function notices(state, news) {
  const list = troubles(state, news);
  const key = JSON.stringify(list);
  if (key === shownNotices) return;
  shownNotices = key;
  byId('notices').replaceChildren(...list.map(([kind, text]) => make('p', `notice ${kind}`, text)));
}
