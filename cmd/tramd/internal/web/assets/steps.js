// The assembly, step by step: what is done, what was upset, what comes next. Each step can be measured from here. A machine of which
// nothing but the sweep is configured has no such list.
import { byId, make, setText } from './dom.js';
import { allowed, attempt, reason, send } from './api.js';
import { acknowledged } from './caution.js';
import { onPaint, change, idle, may, state } from './state.js';
import { arm } from './steer.js';
import { unitNow } from './frame.js';
import { value } from './places.js';
import { inWords } from './units.js';
import { go, onArrive } from './router.js';
import { verdicts, when } from './words.js';
import { joint, jointKey } from './joint.js';
import { say } from './say.js';
import { named, t } from './t.js';

let steps = null; // what the daemon said
let failed = '';
let painted = '';

// renewSteps asks once more while the list is looked at; the daemon reads much of its record for it.
export function renewSteps() {
  if (state.view === 'adjust') loadSteps();
}

async function loadSteps() {
  try {
    const answer = await fetch('/api/v1/job');
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error);
    [steps, failed] = [body, ''];
  } catch (e) {
    failed = t('steps.failed', { why: reason(e) });
  }
  change();
}

export function wireSteps() {
  onArrive((at) => { if (at.view === 'adjust') loadSteps(); });
  onPaint(({ snap }) => {
    if (!snap) return;
    const free = may() && idle();
    const unit = unitNow();
    const key = JSON.stringify([steps, failed, unit.label, free, jointKey()]);
    if (key === painted) return;
    painted = key;
    paint(free, unit);
  });
}

function paint(free, unit) {
  byId('steps').hidden = !failed && !(steps?.steps ?? []).some((s) => s.kind !== 'sweep');
  setText(byId('steps-say'), failed || inWords(whatNext(), unit));
  byId('steps-list').replaceChildren(...(steps?.steps ?? []).map((s, i) => step(s, i, free, unit)));
  const chain = steps?.stack?.say ?? [];
  byId('chain').hidden = !chain.length;
  if (!chain.length) return;
  byId('chain-say').replaceChildren(...chain.map((text) => make('li', '', inWords(text, unit))));
  byId('chain-picture').src = `/api/v1/chain.svg?${encodeURIComponent(steps.steps.map((s) => s.run ?? 0).join())}`; // drawn again with each run
}

// whatNext leaves out the command that measures the next step: its button stands below.
function whatNext() {
  return (steps?.say ?? '').replace(/ Measure with `[^`]*`\.$/, '');
}

function step(s, i, free, unit) {
  const li = make('li', s.state.replace(' ', ''));
  if (steps.next === i) li.setAttribute('aria-current', 'step');
  const head = make('p', 'step-head');
  head.append(make('strong', '', s.name), make('span', 'step-state', s.upset ? t('steps.upset', { by: say(s.upset) }) : named('step', s.state)));
  li.append(head);
  for (const f of s.now ?? []) {
    const before = (s.before ?? []).find((b) => b.name === f.name);
    const v = verdicts[f.verdict] ?? verdicts.none;
    const text = `${say(f.name)} ${value(f, unit)}${f.verdict === 'none' ? '' : ` ${v.mark} ${v.word}`}`;
    li.append(make('p', 'small', before ? t('steps.before', { now: text, before: value(before, unit) }) : text));
  }
  for (const a of s.alarms ?? []) li.append(make('p', 'small step-alarm', inWords(a, unit)));
  const row = make('p', 'row');
  const button = make('button', steps.next === i ? 'main' : '', t('steps.measure', { name: s.name }));
  button.type = 'button';
  button.disabled = !free;
  button.addEventListener('click', () => attempt(() => measure(s), 'steps-answer'));
  row.append(button);
  if (s.run) {
    const link = make('a', 'print', t('steps.run', { run: s.run, when: when(s.at) }));
    link.href = `/runs/${Number(s.run)}`;
    row.append(link);
  }
  if (s.due) row.append(make('span', 'small', t('steps.due', { when: when(s.due) })));
  li.append(row);
  if (s.moves && s.run) li.append(joint(s.of, free, unit, loadSteps));
  return li;
}

// measure begins a step; its places are then announced, taken, skipped and taken again where a sweep's stations are.
async function measure(s) {
  if (s.kind === 'sweep') { // it has its own start, with its turns
    go('/');
    return '';
  }
  await allowed();
  const purpose = byId('steps-adjust').checked ? 'adjust' : 'check';
  if (s.stepped) { // two acts, as for the arm; its cautions come with the first, in full
    const answer = await arm({ kind: s.kind, name: s.of ?? '', purpose });
    go('/');
    change();
    return answer;
  }
  await acknowledged();
  const begun = await send('POST', '/api/v1/measurements', {
    kind: s.kind, name: s.of ?? '', purpose, typed: byId('steps-typed').checked,
  });
  go('/');
  return t('begun', begun);
}
