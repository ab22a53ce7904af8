// The list of runs, filtered, each opening in full, with links to what was stored of it.
import { byId, make, setText } from './dom.js';
import { onPaint } from './state.js';
import { unitNow } from './frame.js';
import { signed, size } from './units.js';
import { verdicts, when } from './words.js';
import { brief, measures } from './places.js';
import { reason } from './api.js';
import { named, t } from './t.js';

const page = 40;

let list = [];
let end = false; // the oldest run is in the list
let failed = '';
let painted = '';

export const loadRuns = () => load();

async function load(before = 0) {
  try {
    const answer = await fetch(`/api/v1/runs?limit=${page}${before ? `&before=${before}` : ''}`);
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error);
    const got = (Array.isArray(body) ? body : body?.runs) ?? [];
    if (before) list = [...list, ...got];
    else if (list.length <= page) list = got;
    else list = [...got, ...list.filter((r) => r.id < (got.at(-1)?.id ?? Infinity))];
    end = before || list.length <= page ? got.length < page : end;
    failed = '';
  } catch (e) {
    failed = t('runs.failed', { why: reason(e) });
  }
  painted = '';
  paint();
}

export function wireRuns() {
  onPaint(paint);
  for (const id of ['filter-verdict', 'filter-purpose']) byId(id).addEventListener('change', () => { painted = ''; paint(); });
  byId('filter').addEventListener('submit', (e) => e.preventDefault());
  byId('older').addEventListener('click', () => load(list.at(-1).id));
}

function chosen(run) {
  const [verdict, purpose] = [byId('filter-verdict').value, byId('filter-purpose').value];
  const finished = run.outcome === 'finished';
  return (!purpose || run.purpose === purpose) && (!verdict || (verdict === 'unfinished' ? !finished : finished && run.result?.verdict === verdict));
}

function line(text) {
  const tr = make('tr');
  const td = make('td', '', text);
  td.colSpan = 5;
  tr.append(td);
  return tr;
}

function paint() {
  const unit = unitNow();
  if (painted === unit.label) return;
  painted = unit.label;
  setText(byId('runs-unit'), unit.label);
  const body = byId('runs');
  const held = body.contains(document.activeElement) ? document.activeElement.getAttribute('href') : null;
  const shown = list.filter(chosen);
  body.replaceChildren(...(failed ? [line(failed)] : shown.length ? shown.map((r) => rowOf(r, unit)) : [line(t(list.length ? 'runs.nomatch' : 'runs.none'))]));
  byId('older').hidden = end || !list.length;
  if (held) body.querySelector(`a[href="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
}

function rowOf(run, unit) {
  const tr = make('tr');
  const lean = run.result?.lean;
  const both = measures(run) ? brief(run, unit) : lean && lean.azimuth_deg === null ? t('lean.size', { size: size(lean.mm_per_m, unit, lean.U_mm_per_m) }) : ['tilt', 'nod'].map((n) => (run.result?.[n] ? signed(run.result[n].mm_per_m, unit, run.result[n].U_mm_per_m) : '–')).join(', ');
  const finished = run.outcome === 'finished';
  const verdict = finished ? run.result?.verdict ?? 'none' : 'none';
  const v = verdicts[verdict] ?? verdicts.none;
  const said = finished ? `${v.mark} ${verdict === 'none' ? t('verdict.none') : v.word}` : named('outcome', run.outcome || 'running', '.word');
  const files = make('td', 'files');
  for (const [text, path] of [['JSON', ''], ['CSV', '/readings.csv']]) {
    const a = make('a', '', text);
    a.href = `/api/v1/runs/${Number(run.id)}${path}`;
    a.setAttribute('aria-label', t('runs.as', { run: Number(run.id), form: text }));
    files.append(a);
  }
  const time = make('td', 'when', when(run.started_at));
  if (run.kind !== 'sweep') time.append(make('small', '', ` ${named('kind', run.kind)}${run.subject ? ` ${run.subject}` : ''}`));
  if (run.clock_set === false) time.append(make('small', '', ` ${t('runs.noclock')}`));
  const number = make('td', 'id');
  const open = make('a', '', `${Number(run.id)} ›`);
  open.href = `/runs/${Number(run.id)}`;
  open.setAttribute('aria-label', t('runs.open', { run: Number(run.id) }));
  number.append(open);
  tr.append(number, time, make('td', 'both', both), make('td', `said ${verdict}`, said), files);
  return tr;
}
