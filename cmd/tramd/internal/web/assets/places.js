// A measurement of the assembly: the live one, with its places and its growing curve, and a stored one with its figures and picture.
import { byId, draw, make, set, setText } from './dom.js';
import { onPaint, state } from './state.js';
import { inWords, signed } from './units.js';
import { verdicts } from './words.js';
import { unitNow } from './frame.js';
import { reason } from './api.js';
import { say } from './say.js';
import { named, t } from './t.js';

const sweeps = ['sweep', 'half-turn'];

export const measures = (run) => !sweeps.includes(run.kind);

// value writes a figure: slopes in the reader's unit, lengths in mm.
export function value(f, unit) {
  if (f.unit === 'mm/m') return t('places.pm', { value: signed(f.value, unit, f.U), half: signed(f.U, unit, f.U).replace(/^[+−]/, ''), unit: unit.label });
  return t('places.pm', { value: f.value.toFixed(4), half: f.U.toFixed(4), unit: f.unit });
}

// stored returns the sections of a stored run that is no sweep; they fill themselves.
export function stored(run, unit, signal) {
  const s = make('section', 'measured');
  s.append(make('h3', 'title', t('places.found')));
  if (!run.result) {
    s.append(make('p', '', t(run.outcome ? 'found.nothing' : 'found.notyet')));
    return [s];
  }
  fill(s, run, unit, signal);
  return [s];
}

async function fill(s, run, unit, signal) {
  try {
    const answer = await fetch(`/api/v1/runs/${Number(run.id)}/measured`, { signal });
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error);
    const table = make('table', 'figures');
    for (const f of body.figures) {
      const v = verdicts[f.verdict] ?? verdicts.none;
      const tr = make('tr');
      const th = make('th', '', say(f.name));
      th.scope = 'row';
      tr.append(th, make('td', '', value(f, unit)), make('td', `said ${f.verdict}`, f.verdict === 'none' ? '' : `${v.mark} ${v.word}`));
      table.append(tr);
    }
    s.append(table);
    if (body.picture) {
      const img = make('img', 'measured-picture');
      img.src = `/api/v1/runs/${Number(run.id)}/picture.svg`;
      img.alt = t('places.picture', { title: say(body.title) });
      s.append(img);
    }
    const list = make('ul', 'warnings');
    list.append(...(run.result.warnings ?? []).map((w) => make('li', '', inWords(w.text, unit))));
    if (list.children.length) s.append(list);
  } catch (e) {
    if (!signal.aborted) s.append(make('p', 'notice bad', t('places.failed', { why: reason(e) })));
  }
}

// brief is what the list of runs shows of one.
export function brief(run, unit) {
  const r = run.result;
  if (r?.slope) return t('places.slope', { value: signed(r.slope.mm_per_m, unit, r.slope.U_mm_per_m) });
  if (r?.heights) return t('places.runout', { mm: Math.max(0, ...r.heights.map((h) => h.run_out_mm)).toFixed(4) });
  return r && ('tilt' in r || 'nod' in r) ? ['tilt', 'nod'].map((n) => (r[n] ? signed(r[n].mm_per_m, unit, r[n].U_mm_per_m) : '–')).join(', ') : '–';
}

// wirePlaces shows the live measurement below the instruction.
export function wirePlaces() {
  const box = make('section', 'places');
  box.id = 'places';
  box.hidden = true;
  const title = make('h3', 'title');
  const says = make('p', 'places-say');
  says.setAttribute('aria-live', 'polite');
  const svg = draw('svg', { viewBox: '0 0 640 200', role: 'img' });
  const list = make('ol', 'places-list');
  box.append(title, says, svg, list);
  byId('say').after(box);
  let drawn = '';
  onPaint((s) => {
    const m = s.snap?.sweep.measured;
    box.hidden = !m;
    document.body.classList.toggle('places-only', Boolean(m));
    if (!m) return;
    setText(title, `${named('kind', s.snap.sweep.kind)} ${m.subject}`);
    setText(says, m.say ? inWords(m.say, unitNow()) : t('places.nothing'));
    const now = JSON.stringify([m.places, m.curve]);
    if (now === drawn) return;
    drawn = now;
    curve(svg, m.curve?.map((v) => ({ ...v, reading_mm: v.mm, state: 'taken' })) ?? m.places);
    set(svg, { 'aria-label': t('places.curve', { n: m.places.filter((p) => p.state === 'taken').length, all: m.places.length }) });
    list.replaceChildren(...m.places.map(item));
    list.querySelector('.here')?.scrollIntoView?.({ block: 'nearest', inline: 'nearest' });
  });
}

function item(p) {
  const li = make('li', p.state);
  if (p.state === 'here') li.setAttribute('aria-current', 'step');
  li.append(make('span', 'place', say(p.name)), make('span', 'mm', p.reading_mm === null ? named('place', p.state) : `${p.reading_mm.toFixed(4)} mm`));
  return li;
}

// curve draws the readings so far over their places, each group by itself.
function curve(svg, places) {
  const taken = places.filter((p) => p.reading_mm !== null);
  svg.replaceChildren();
  if (!taken.length) return;
  const range = (of, list) => [Math.min(...list.map(of)), Math.max(...list.map(of))];
  const [x0, x1] = range((p) => p.at, places);
  const [z0, z1] = range((p) => p.reading_mm, taken);
  const x = (v) => 30 + ((v - x0) / (x1 - x0 || 1)) * 580;
  const y = (v) => 180 - ((v - z0) / (z1 - z0 || 1)) * 160;
  const groups = [...new Set(taken.map((p) => p.group ?? ''))];
  groups.forEach((g, i) => {
    const own = taken.filter((p) => (p.group ?? '') === g).sort((a, b) => a.at - b.at);
    svg.append(draw('polyline', { class: `places-line g${i % 4}`, points: own.map((p) => `${x(p.at)},${y(p.reading_mm)}`).join(' ') }));
    for (const p of own) svg.append(draw('circle', { class: `places-dot g${i % 4}`, cx: x(p.at), cy: y(p.reading_mm), r: 4 }));
  });
}

// handed says whether the run in hand is one that is steered place by place, and how.
export const handed = (snap = state.snap) => snap?.sweep.measured ?? null;
