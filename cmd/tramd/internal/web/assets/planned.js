// The next check that is taken by itself: when, whether the arm may move for it, and what would keep it from being taken.
import { byId, make, setText } from './dom.js';
import { ago, when } from './words.js';

let shownWhy = '';

export function planned(state) {
  const c = state.check;
  const box = byId('planned');
  box.classList.toggle('gone', !c);
  if (!c) return;
  const why = c.next ? c.why_not ?? [] : [];
  box.classList.toggle('hindered', why.length > 0);
  setText(byId('planned-when'), c.next ? words(c, state) : 'No planned check lies ahead.');
  setText(byId('planned-said'), c.say ? `Last: ${c.say}.` : '');
  const key = JSON.stringify(why);
  if (key === shownWhy) return;
  shownWhy = key;
  byId('planned-why').replaceChildren(...why.map((text) => make('li', '', `Not as things are: ${text}.`)));
}

function words(c, state) {
  const list = [`Next planned check: ${when(c.next)}, in ${ago((new Date(c.next) - new Date(state.at)) / 1000)}.`];
  if (c.dry_run) list.push('A dry run: nothing is measured.');
  else if (c.moves && state.angle.armed_until) list.push(`Armed until ${when(state.angle.armed_until)}: the arm moves by itself, keep clear of it.`);
  else if (c.moves) list.push('Not armed: nothing will move.');
  return list.join(' ');
}
