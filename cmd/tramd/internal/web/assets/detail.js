// One stored run in full, opened by its address (#run-12), so that the browser's back button closes it and it can be sent on.
import { byId, make, setText } from './dom.js';
import { when } from './words.js';
import { findings } from './findings.js';
import { budgets } from './budget.js';
import { residuals } from './residuals.js';
import { anew } from './anew.js';

let id = null; // of the run that is open
let run = null;
let unit;
let fromList = false; // whether going back leads to the list
let listShown = false; // tells an address opened afresh from one followed in the list
let listAt = 0; // where the list was scrolled to
let fetching;

export const openRun = () => id;

const asked = () => {
  const m = /^#run-([1-9]\d{0,15})$/.exec(location.hash);
  return m ? Number(m[1]) : null;
};

export function wireDetail() {
  addEventListener('hashchange', route);
  byId('detail-back').addEventListener('click', (e) => {
    e.preventDefault();
    leave();
  });
  addEventListener('keydown', (e) => {
    if (e.key === 'Escape' && !e.defaultPrevented && id !== null && e.target.tagName !== 'SELECT') leave();
  });
  listShown = asked() === null;
  route();
}

function leave() {
  if (fromList) {
    history.back();
    return;
  }
  history.replaceState(null, '', location.pathname + location.search);
  route();
}

function route() {
  const next = asked();
  if (next === id) return;
  const before = id;
  if (before === null) listAt = scrollY;
  fromList = next !== null && before === null && listShown;
  id = next;
  run = null;
  fetching?.abort();
  byId('detail').hidden = id === null;
  byId('now').hidden = id !== null;
  if (id === null) {
    listShown = true;
    back(before);
    return;
  }
  head();
  byId('detail-body').replaceChildren();
  scrollTo(0, 0);
  byId('detail-title').focus({ preventScroll: true });
  load();
}

function back(from) {
  byId('detail-body').replaceChildren();
  const link = document.querySelector(`#runs a[href="#run-${from}"]`) ?? byId('runs-title');
  scrollTo(0, listAt);
  link.focus();
}

async function load() {
  const wanted = id;
  fetching?.abort();
  fetching = new AbortController();
  const signal = fetching.signal;
  setText(byId('detail-state'), 'Reading the run…');
  try {
    const answer = await fetch(`/api/v1/runs/${wanted}`, { signal });
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error || `the daemon answered ${answer.status}`);
    if (wanted !== id) return;
    run = body;
    setText(byId('detail-state'), '');
    draw();
    residuals(run, signal);
  } catch (e) {
    if (signal.aborted || wanted !== id) return;
    const why = e instanceof TypeError ? 'the daemon does not answer' : e.message;
    setText(byId('detail-state'), `Run ${wanted} cannot be shown: ${why}.`);
  }
}

// again reads a run that was still going on once more, when the list of runs has changed.
export function again() {
  if (id !== null && (!run || !run.outcome)) load();
}

export function detailUnit(next) {
  if (unit?.label === next.label) return;
  unit = next;
  if (run) {
    draw();
    residuals(run, fetching.signal);
  }
}

function head() {
  setText(byId('detail-title'), `Run ${id}`);
  for (const [name, path] of [['detail-json', ''], ['detail-csv', '/readings.csv']]) byId(name).href = `/api/v1/runs/${id}${path}`;
}

function draw() {
  if (!unit || !run) return;
  byId('detail-body').replaceChildren(story(), ...findings(run, unit), ...budgets(run), ...anew(run, unit, load));
}

const ends = {
  finished: 'finished', abandoned: 'abandoned by the person', failed: 'failed', interrupted: 'interrupted: the program stopped before it was done',
};

function story() {
  const s = make('section', 'story');
  const begun = when(run.started_at);
  const ended = run.ended_at ? ` to ${when(run.ended_at)}` : '';
  const what = [run.setup?.machine, run.kind, run.purpose && `to ${run.purpose}`, run.temperature_c !== undefined && `at ${run.temperature_c.toFixed(1)} °C`].filter(Boolean).join(' · ');
  s.append(make('p', 'what', what), make('p', 'times', `${begun}${ended}${run.clock_set === false ? ', by a clock that was not set' : ''}`));
  const outcome = make('p', 'outcome');
  outcome.append('Outcome: ', make('strong', '', run.outcome ? ends[run.outcome] ?? run.outcome : 'still going on'));
  if (run.why) outcome.append(`. Why: ${run.why}`);
  s.append(outcome);
  if (run.note) s.append(make('p', 'note', `Note: ${run.note}`));
  return s;
}
