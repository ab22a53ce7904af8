// The job: what to move next and by how much, how the lean travelled so far, and what it means for the cutters.
import { byId, draw, make, set, setText } from './dom.js';
import { on, send } from './steer.js';
import { takeTightened, targetAdvice } from './target.js';
import { signed } from './units.js';
import { chance } from './numbers.js';
import { verdicts, when } from './words.js';

let advice = null;
let unit;
let failed = '';
let formKey = '';

export async function loadAdvice() {
  try {
    const answer = await fetch('/api/v1/advice');
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error);
    advice = body;
    failed = '';
  } catch (e) {
    failed = `The advice cannot be had: ${e.message}`;
  }
  paint();
}

export function adviceUnit(next) {
  if (unit?.label === next.label) return;
  unit = next;
  paint();
}

function paint() {
  if (!unit) return;
  setText(byId('job-why'), failed || advice?.why || '');
  const moves = !failed && advice && !advice.must_sweep ? advice.moves : [];
  byId('moves').replaceChildren(...moves.map((m) => make('li', '', m.say || `${m.adjuster}: ${m.by} ${m.unit}`)));
  setText(byId('job-expected'), expectedWords(moves.length));
  list('job-cautions', advice?.cautions ?? []);
  byId('job-caution').classList.toggle('gone', !(advice?.cautions ?? []).length);
  list('job-warnings', (advice?.warnings ?? []).map((w) => w.text));
  list('cutters', (advice?.cutters ?? []).map((c) => c.say));
  byId('cutters-part').classList.toggle('gone', !(advice?.cutters ?? []).length);
  travelled();
  form();
  targetAdvice(failed || advice?.must_sweep ? null : advice);
}

function list(id, texts) {
  byId(id).replaceChildren(...texts.map((t) => make('li', '', t)));
}

function expectedWords(moves) {
  if (failed || !advice || !moves || unit.factor === 1) return ''; // in mm/m the adviser's own words say it
  const e = advice.expected;
  return `Then tilt should be about ${signed(e.tilt_mm_per_m, unit)} and nod ${signed(e.nod_mm_per_m, unit)} ${unit.label}; the chance of both being within is ${chance(e.chance_within)}.`;
}

// form asks what was really moved: the advised amounts stand in it, to be corrected.
function form() {
  const adjusters = advice?.adjusters ?? [];
  byId('moved').classList.toggle('gone', !adjusters.length);
  const key = JSON.stringify([adjusters.map((a) => a.name), advice?.run, advice?.moves, advice?.must_sweep]);
  if (key === formKey) return;
  formKey = key;
  byId('moved-rows').replaceChildren(...adjusters.map((a, i) => {
    const label = make('label', '', `${a.name}, ${a.unit}`);
    const input = make('input');
    const by = advice.must_sweep ? undefined : advice.moves.find((m) => m.adjuster === a.name)?.by;
    Object.assign(input, { type: 'number', step: 'any', id: `moved-${i}`, name: a.name, value: by ?? '' });
    input.setAttribute('inputmode', 'decimal');
    label.append(input);
    if (a.notes) label.append(make('small', '', a.notes));
    return label;
  }));
}

export function wireJob() {
  on('moved', 'submit', log, 'moved-answer');
}

// log sends what stands in the form; only what was filled in was moved.
async function log() {
  const moved = {};
  for (const input of byId('moved-rows').querySelectorAll('input')) {
    if (input.value !== '' && Number(input.value) !== 0) moved[input.name] = Number(input.value);
  }
  if (!Object.keys(moved).length) throw new Error('write what was moved, and by how much');
  await send('POST', '/api/v1/events', { kind: 'adjusted', text: '', moved, tightened: takeTightened() ?? undefined });
  await loadAdvice();
  return 'Logged. Sweep again to see what it did.';
}

function travelled() {
  const job = advice?.job ?? [];
  byId('travel-part').classList.toggle('gone', job.length === 0);
  byId('travel').replaceChildren(...job.map(stage));
  path(job.filter((s) => s.tilt_mm_per_m != null && s.nod_mm_per_m != null));
}

function stage(s) {
  const li = make('li');
  const v = verdicts[s.verdict] ?? verdicts.none;
  const both = ['tilt', 'nod'].map((a) => (s[`${a}_mm_per_m`] == null ? '–' : signed(s[`${a}_mm_per_m`], unit, s[`${a}_U_mm_per_m`]))).join(', ');
  const a = make('a', '', `Run ${Number(s.run)}`);
  a.href = `#run-${Number(s.run)}`;
  li.append(a, ` ${when(s.started_at)}: ${both} ${unit.label} `, make('span', `said ${s.verdict}`, `${v.mark} ${s.verdict === 'none' ? '' : s.verdict}`));
  const done = [...Object.entries(s.moved ?? {}).map(([name, by]) => `${name} ${by > 0 ? '+' : ''}${by}`), ...(s.told ?? [])];
  if (done.length) li.append(make('p', 'small', `then: ${done.join('; ')}`));
  return li;
}

// path draws the way of the upper end, seen from above, the limit as a square.
function path(stages) {
  const svg = byId('travel-map');
  svg.classList.toggle('gone', stages.length < 2);
  if (stages.length < 2) return;
  const limit = advice.limit_mm_per_m ?? 0;
  const most = Math.max(limit * 1.2, ...stages.flatMap((s) => [Math.abs(s.tilt_mm_per_m), Math.abs(s.nod_mm_per_m)])) * 1.12 || 1;
  const x = (v) => (110 + (v / most) * 100).toFixed(1);
  const y = (v) => (110 - (v / most) * 100).toFixed(1);
  const out = [draw('path', { class: 'cross', d: 'M10 110H210M110 10V210' })];
  if (limit > 0) out.push(draw('rect', { class: 'limit', x: x(-limit), y: y(limit), width: ((200 * limit) / most).toFixed(1), height: ((200 * limit) / most).toFixed(1) }));
  out.push(draw('path', { class: 'way', d: `M${stages.map((s) => `${x(s.tilt_mm_per_m)} ${y(s.nod_mm_per_m)}`).join('L')}` }));
  stages.forEach((s, i) => out.push(draw('circle', { class: i === stages.length - 1 ? `tip ${s.verdict}` : 'been', cx: x(s.tilt_mm_per_m), cy: y(s.nod_mm_per_m), r: i === stages.length - 1 ? 6 : 4 })));
  svg.replaceChildren(...out);
  set(svg, { viewBox: '0 0 220 220' });
}
