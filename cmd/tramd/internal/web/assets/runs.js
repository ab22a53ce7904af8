// The last runs, each opening in full, with links to what was stored of it.
import { byId, make, setText } from './dom.js';
import { signed, size } from './units.js';
import { verdicts, when } from './words.js';

let list = [];
let unit;

export async function loadRuns() {
  try {
    const answer = await fetch('/api/v1/runs?limit=10');
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error);
    list = (Array.isArray(body) ? body : body?.runs) ?? [];
    show();
  } catch (e) {
    byId('runs').replaceChildren(line(`The runs cannot be read: ${e.message}`));
  }
}

export function runsUnit(next) {
  if (unit?.label === next.label) return;
  unit = next;
  setText(byId('runs-unit'), unit.label);
  show();
}

function line(text) {
  const tr = make('tr');
  const td = make('td', '', text);
  td.colSpan = 5;
  tr.append(td);
  return tr;
}

function show() {
  if (!unit) return;
  const body = byId('runs');
  const held = body.contains(document.activeElement) ? document.activeElement.getAttribute('href') : null;
  body.replaceChildren(...(list.length ? list.map(rowOf) : [line('No runs yet.')]));
  if (held) body.querySelector(`a[href="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
}

function rowOf(run) {
  const tr = make('tr');
  const lean = run.result?.lean;
  const both = lean && lean.azimuth_deg === null ? `lean ${size(lean.mm_per_m, unit, lean.U_mm_per_m)}, direction not known` : ['tilt', 'nod'].map((n) => (run.result?.[n] ? signed(run.result[n].mm_per_m, unit, run.result[n].U_mm_per_m) : '–')).join(', ');
  const finished = run.outcome === 'finished';
  const verdict = finished ? run.result?.verdict ?? 'none' : 'none';
  const v = verdicts[verdict] ?? verdicts.none;
  const said = finished ? `${v.mark} ${verdict === 'none' ? 'no limit' : verdict}` : run.outcome || 'running';
  const files = make('td', 'files');
  for (const [text, path] of [['JSON', ''], ['CSV', '/readings.csv']]) {
    const a = make('a', '', text);
    a.href = `/api/v1/runs/${Number(run.id)}${path}`;
    a.setAttribute('aria-label', `run ${Number(run.id)} as ${text}`);
    files.append(a);
  }
  const time = make('td', 'when', when(run.started_at));
  if (run.kind === 'half-turn') time.append(make('small', '', ' half turn'));
  if (run.clock_set === false) time.append(make('small', '', ' clock not set'));
  const number = make('td', 'id');
  const open = make('a', '', `${Number(run.id)} ›`);
  open.href = `#run-${Number(run.id)}`;
  open.setAttribute('aria-label', `run ${Number(run.id)} in full`);
  number.append(open);
  tr.append(number, time, make('td', 'both', both), make('td', `said ${verdict}`, said), files);
  return tr;
}
