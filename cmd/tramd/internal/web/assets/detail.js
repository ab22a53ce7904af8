// One stored run: its result, its plot and what its uncertainty is made of; the rest folds away.
import { byId, make, setText } from './dom.js';
import { onArrive, up } from './router.js';
import { onPaint, state } from './state.js';
import { unitNow } from './frame.js';
import { inWords } from './units.js';
import { when } from './words.js';
import { findings } from './findings.js';
import { budgets, largest } from './budget.js';
import { residuals } from './residuals.js';
import { again } from './again.js';
import { measures, stored } from './places.js';
import { reason } from './api.js';
import { named, t } from './t.js';

let id = null; // of the run that is open
let run = null;
let drawn = null; // the unit it was drawn in
let fetching;

export function wireDetail() {
  byId('detail-back').addEventListener('click', (e) => {
    e.preventDefault();
    up();
  });
  onArrive((at) => open(at.run));
  onPaint(() => {
    if (run && drawn !== unitNow().label) draw();
  });
}

function open(next) {
  if (next === id) return;
  id = next;
  run = null;
  fetching?.abort();
  byId('detail-body').replaceChildren();
  if (id === null) return;
  setText(byId('detail-title'), `${t('runs.run')} ${id}`);
  for (const [name, path] of [['detail-json', ''], ['detail-csv', '/readings.csv']]) byId(name).href = `/api/v1/runs/${id}${path}`;
  load();
}

async function load() {
  const wanted = id;
  fetching?.abort();
  fetching = new AbortController();
  const signal = fetching.signal;
  setText(byId('detail-state'), t('detail.reading'));
  try {
    const answer = await fetch(`/api/v1/runs/${wanted}`, { signal });
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error || t('error.answered', { status: answer.status }));
    if (wanted !== id) return;
    run = body;
    setText(byId('detail-state'), '');
    draw();
  } catch (e) {
    if (signal.aborted || wanted !== id) return;
    setText(byId('detail-state'), t('detail.failed', { run: wanted, why: reason(e) }));
  }
}

// readAgain reads a run that was still going on once more, when the list of runs has changed.
export function readAgain() {
  if (id !== null && (!run || !run.outcome)) load();
}

function draw() {
  if (!state.snap) return;
  const unit = unitNow();
  drawn = unit.label;
  if (measures(run)) {
    byId('detail-body').replaceChildren(story(), ...stored(run, unit, fetching.signal));
    return;
  }
  const { first, rest } = findings(run, unit);
  const more = make('details', 'more');
  more.append(make('summary', '', t('detail.more')), ...rest, ...budgets(run, unit), ...again(run, unit, load));
  byId('detail-body').replaceChildren(story(), ...first, ...largest(run, unit), more);
  more.addEventListener('toggle', () => remember(more.open));
  more.open = wasOpen;
  if (run.result) residuals(run, fetching.signal, unit);
}

let wasOpen = false;
const remember = (open_) => { wasOpen = open_; };

function story() {
  const s = make('section', 'story');
  const begun = when(run.started_at);
  const what = [run.setup?.machine, [named('kind', run.kind), run.subject].filter(Boolean).join(' '), run.purpose && t('detail.to', { purpose: named('purpose', run.purpose) }),
    run.temperature_c !== undefined && t('detail.temperature', { c: run.temperature_c.toFixed(1) })].filter(Boolean).join(' · ');
  const times = run.ended_at ? t('detail.times', { from: begun, to: when(run.ended_at) }) : begun;
  s.append(make('p', 'what', what), make('p', 'times', run.clock_set === false ? `${times}, ${t('runs.noclock')}` : times));
  const outcome = make('p', 'outcome');
  outcome.append(`${t('detail.outcome')} `, make('strong', '', named('outcome', run.outcome || 'running')));
  if (run.why) outcome.append(`. ${t('detail.why', { why: inWords(run.why, unitNow()) })}`);
  s.append(outcome);
  if (run.damage) s.append(make('p', 'notice bad', t('detail.damage', { damage: run.damage })));
  if (run.note) s.append(make('p', 'note', t('detail.note', { note: run.note })));
  return s;
}
