// The job: what to move next and by how much, the way of the lean into the limit, and what it means for the cutters.
import { byId, draw, make, set, setText } from './dom.js';
import { on, reason, send } from './api.js';
import { change, onPaint, state } from './state.js';
import { carried, jobNow } from './caution.js';
import { amounts, field } from './moved.js';
import { takeTightened, targetAdvice } from './target.js';
import { unitNow } from './frame.js';
import { inWords, signed } from './units.js';
import { verdicts, when } from './words.js';
import { t } from './t.js';

let formKey = '';
let painted = '';

export async function loadAdvice() {
  const before = jobNow();
  try {
    const answer = await fetch('/api/v1/advice');
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error);
    change({ advice: body, adviceFailed: '' });
    carried(before, jobNow());
  } catch (e) {
    change({ adviceFailed: t('job.failed', { why: reason(e) }) });
  }
}

export function wireJob() {
  onPaint(({ snap, advice, adviceFailed }) => {
    if (!snap) return;
    const unit = unitNow();
    const key = JSON.stringify([advice, adviceFailed, unit.label]);
    if (key === painted) return;
    painted = key;
    paint(adviceFailed ? null : advice, adviceFailed, unit);
  });
  on('moved', 'submit', log, 'moved-answer');
}

function paint(advice, failed, unit) {
  reasons(failed || inWords(advice?.why ?? '', unit) || t('job.none'));
  const moves = advice && !advice.must_sweep ? advice.moves : [];
  byId('moves').replaceChildren(...moves.map((m) => make('li', '', inWords(m.say || `${m.adjuster}: ${m.by} ${m.unit}`, unit))));
  list('job-cautions', (advice?.cautions ?? []).map((text) => inWords(text, unit)));
  byId('job-caution').classList.toggle('gone', !(advice?.cautions ?? []).length);
  list('job-warnings', (advice?.warnings ?? []).filter((w) => bare(w.text) !== bare(advice.why ?? '')).map((w) => inWords(w.text, unit)));
  list('cutters', (advice?.cutters ?? []).map((c) => inWords(c.say, unit)));
  byId('cutters-part').classList.toggle('gone', !(advice?.cutters ?? []).length);
  travelled(advice, unit);
  form(advice, unit);
  targetAdvice(!advice || advice.must_sweep ? null : advice);
}

// reasons shows what to expect; why it is this move and no other folds away.
function reasons(text) {
  const sentences = text.split(/(?<=\.) (?=\p{Lu})/u);
  setText(byId('job-why'), sentences.slice(0, 2).join(' '));
  setText(byId('job-reasons'), sentences.slice(2).join(' '));
  byId('job-more').classList.toggle('gone', sentences.length < 3);
}

// bare is a sentence as it stands inside another, so that nothing is said twice.
const bare = (text) => text.replace(/\.$/, '').toLowerCase();

function list(id, texts) {
  byId(id).replaceChildren(...texts.map((text) => make('li', '', text)));
}

// form asks what was really moved: the advised amounts stand in it, to be corrected.
function form(advice, unit) {
  const adjusters = advice?.adjusters ?? [];
  byId('moved').classList.toggle('gone', !adjusters.length);
  const key = JSON.stringify([adjusters.map((a) => a.name), advice?.run, advice?.moves, advice?.must_sweep, unit.inch]);
  if (key === formKey) return;
  formKey = key;
  byId('moved-rows').replaceChildren(...adjusters.map((a, i) => {
    const by = advice.must_sweep ? undefined : advice.moves.find((m) => m.adjuster === a.name)?.by;
    const label = field(a, by, unit, (written) => `${a.name}, ${written}`);
    label.querySelector('input').id = `moved-${i}`;
    if (a.notes) label.append(make('small', '', inWords(a.notes, unit)));
    return label;
  }));
}

// log sends what stands in the form; only what was filled in was moved.
async function log() {
  await send('POST', '/api/v1/events', { kind: 'adjusted', text: '', moved: amounts(byId('moved-rows')), tightened: takeTightened() ?? undefined });
  await loadAdvice();
  return t('moved.logged');
}

function travelled(advice, unit) {
  const job = advice?.job ?? [];
  byId('travel-part').classList.toggle('gone', job.length === 0);
  byId('travel').replaceChildren(...job.map((s) => stage(s, unit)));
  path(job.filter((s) => s.tilt_mm_per_m != null && s.nod_mm_per_m != null), advice);
}

function stage(s, unit) {
  const li = make('li');
  const v = verdicts[s.verdict] ?? verdicts.none;
  const both = ['tilt', 'nod'].map((a) => (s[`${a}_mm_per_m`] == null ? '–' : signed(s[`${a}_mm_per_m`], unit, s[`${a}_U_mm_per_m`]))).join(', ');
  const a = make('a', '', `${t('runs.run')} ${Number(s.run)}`);
  a.href = `/runs/${Number(s.run)}`;
  li.append(a, ` ${when(s.started_at)}: ${both} ${unit.label} `, make('span', `said ${s.verdict}`, `${v.mark} ${s.verdict === 'none' ? '' : v.word}`));
  const of = (name) => state.advice?.adjusters?.find((x) => x.name === name)?.unit ?? '';
  const done = [...Object.entries(s.moved ?? {}).map(([name, by]) => `${name} ${by > 0 ? '+' : ''}${by} ${of(name)}`.trim()), ...(s.told ?? [])];
  if (done.length) li.append(make('p', 'small', t('travel.then', { list: inWords(done.join('; '), unit) })));
  return li;
}

// path draws the way of the upper end, seen from above: each run numbered, the limit as a square about the middle.
function path(stages, advice) {
  const svg = byId('travel-map');
  svg.classList.toggle('gone', stages.length < 2);
  if (stages.length < 2) return;
  const mid = 130;
  const limit = advice.limit_mm_per_m ?? 0;
  const most = Math.max(limit * 1.2, ...stages.flatMap((s) => [Math.abs(s.tilt_mm_per_m), Math.abs(s.nod_mm_per_m)])) * 1.15 || 1;
  const x = (v) => (mid + (v / most) * 118).toFixed(1);
  const y = (v) => (mid - (v / most) * 118).toFixed(1);
  const out = [draw('path', { class: 'cross', d: `M8 ${mid}H252M${mid} 8V252` })];
  if (limit > 0) out.push(draw('rect', { class: 'limit inside', x: x(-limit), y: y(limit), width: ((236 * limit) / most).toFixed(1), height: ((236 * limit) / most).toFixed(1) }));
  out.push(draw('path', { class: 'travelled', d: `M${stages.map((s) => `${x(s.tilt_mm_per_m)} ${y(s.nod_mm_per_m)}`).join('L')}` }));
  stages.forEach((s, i) => {
    const last = i === stages.length - 1;
    out.push(draw('circle', { class: last ? `tip ${s.verdict}` : 'been', cx: x(s.tilt_mm_per_m), cy: y(s.nod_mm_per_m), r: last ? 7 : 5 }));
    const n = draw('text', { x: Number(x(s.tilt_mm_per_m)) + 9, y: Number(y(s.nod_mm_per_m)) - 6 });
    n.textContent = String(i + 1);
    out.push(n);
  });
  svg.replaceChildren(...out);
  set(svg, { viewBox: '0 0 260 260' });
}
