// The joint that a step shows: which one to loosen, what to move there, the aim while it is loose, and the log of what was moved.
import { make } from './dom.js';
import { allowed, attempt, reason, send } from './api.js';
import { change } from './state.js';
import { amounts, field } from './moved.js';
import { begin } from './target.js';
import { inWords } from './units.js';
import { t } from './t.js';

let shown = ''; // the measurement whose joint is shown
let advice = null;
let failed = '';
let moved = {}; // what the aims say was moved, by adjuster

export const jointKey = () => [shown, advice, failed, moved];

async function load(name) {
  [shown, advice, failed, moved] = [name, null, '', {}];
  change();
  if (!name) return;
  try {
    const answer = await fetch(`/api/v1/advice?of=${encodeURIComponent(name)}`);
    const body = await answer.json();
    if (!answer.ok) throw new Error(body.error);
    if (shown === name) advice = body;
  } catch (e) {
    if (shown === name) failed = reason(e);
  }
  change();
}

function button(text, act, kind = '') {
  const b = make('button', kind, text);
  b.type = 'button';
  b.addEventListener('click', act);
  return b;
}

// joint returns the part of a step that says what to move. logged is called once a move has been logged.
export function joint(name, free, unit, logged) {
  const box = make('div', 'joint');
  const open = shown === name;
  const toggle = button(t(open ? 'joint.hide' : 'joint.show'), () => load(open ? '' : name));
  toggle.setAttribute('aria-expanded', open);
  box.append(toggle);
  if (!open || (!advice && !failed)) return box;
  if (failed) {
    box.append(make('p', 'notice', inWords(failed, unit)));
    return box;
  }
  if (advice.joint) box.append(make('p', 'small', t('joint.loosen', { joint: advice.joint })));
  const list = (kind, texts) => {
    const ul = make('ul', kind);
    ul.append(...texts.map((text) => make('li', '', inWords(text, unit))));
    if (texts.length) box.append(ul);
  };
  list('caution', advice.cautions ?? []);
  list('joint-moves', (advice.moves ?? []).map((m) => m.say));
  box.append(make('p', '', inWords(advice.why, unit)));
  list('warnings', (advice.warnings ?? []).map((w) => w.text));
  list('small', advice.chain ?? []);
  const aims = make('p', 'row');
  aims.append(...(advice.aims ?? []).map((a) => button(t('aim', { adjuster: a.adjuster }), () => begin(a, advice, (adjuster, by) => {
    moved = { ...moved, [adjuster]: by };
    change();
  }), 'main')));
  box.append(aims, form(name, free, unit, logged));
  return box;
}

// form returns the form that logs a move. The amounts that the aims measured stand in it; a person may change them.
function form(name, free, unit, logged) {
  const f = make('form', 'row');
  f.append(...advice.adjusters.map((a) => field(a, moved[a.name], unit, (written) => t('joint.moved', { adjuster: a.name, unit: written }))));
  const log = make('button', '', t('joint.log'));
  log.disabled = !free;
  f.append(log);
  f.addEventListener('submit', (e) => {
    e.preventDefault();
    attempt(async () => {
      await allowed();
      await send('POST', '/api/v1/events', { kind: 'adjusted', text: '', moved: amounts(f) });
      await load('');
      await logged();
      return t('joint.logged', { name });
    }, 'steps-answer');
  });
  return f;
}
