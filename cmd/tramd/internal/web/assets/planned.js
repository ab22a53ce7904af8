// The next check that is taken by itself: when, whether the arm may move for it, and what would keep it from being taken.
import { byId, make, setText } from './dom.js';
import { onPaint } from './state.js';
import { unitNow } from './frame.js';
import { inWords } from './units.js';
import { ago, when } from './words.js';
import { t } from './t.js';

let shownWhy = '';

function planned({ snap }) {
  if (!snap) return;
  const c = snap.check;
  const box = byId('planned');
  box.classList.toggle('gone', !c);
  if (!c) return;
  const why = c.next ? c.why_not ?? [] : [];
  box.classList.toggle('hindered', why.length > 0);
  setText(byId('planned-when'), plannedWords(snap));
  setText(byId('planned-said'), c.say ? t('planned.last', { say: inWords(c.say, unitNow()) }) : '');
  const key = JSON.stringify([why, unitNow().label]);
  if (key === shownWhy) return;
  shownWhy = key;
  byId('planned-why').replaceChildren(...why.map((text) => make('li', '', t('planned.not', { why: inWords(text, unitNow()) }))));
}

export function plannedWords(snap) {
  const c = snap.check;
  if (!c?.next) return t('planned.none');
  const list = [t('planned.next', { when: when(c.next), ago: ago((new Date(c.next) - new Date(snap.at)) / 1000) })];
  if (c.dry_run) list.push(t('planned.dry'));
  else if (c.moves && snap.angle.armed_until) list.push(t('planned.armed', { when: when(snap.angle.armed_until) }));
  else if (c.moves) list.push(t('planned.unarmed'));
  return list.join(' ');
}

export const wirePlanned = () => onPaint(planned);
