// The machine view beside its devices: how the angle is read, what moves by itself, the clock, the store, and the way to a phone.
import { byId, make, setText } from './dom.js';
import { onPaint } from './state.js';
import { plannedWords } from './planned.js';
import { when } from './words.js';
import { say } from './say.js';
import { has, t } from './t.js';

let painted = '';

function machine({ snap, view }) {
  if (!snap || view !== 'machine') return;
  const a = snap.angle;
  const source = has(`source.${a.source}`) ? t(`source.${a.source}`) : a.source;
  const list = [
    [t('fact.tolerance'), snap.tolerance || t('fact.none')],
    [t('setup.angle'), source],
    [t('state.motion'), a.source !== 'program' ? t('state.nomotion') : a.armed_until ? t('planned.armed', { when: when(a.armed_until) }) : t('planned.unarmed')],
    [t('planned.title'), plannedWords(snap)],
    [t('state.next'), snap.next_check ? when(snap.next_check) : t('state.unknown')],
    [t('state.clock'), t(snap.clock.set ? 'state.clock.set' : 'state.clock.unset', { at: when(snap.at) })],
    [t('state.store'), snap.store.ok ? t('state.store.ok') : t('notice.store', { why: say(snap.store.error) })],
    [t('state.backup'), say(snap.troubles?.backup) || t('state.backup.quiet')],
  ];
  const key = JSON.stringify(list);
  if (key === painted) return;
  painted = key;
  byId('machine-facts').replaceChildren(...list.map(([term, text]) => {
    const div = make('div');
    div.append(make('dt', '', term), make('dd', '', text));
    return div;
  }));
}

const loopback = /^(localhost|127\.|\[::1\]|::1)/;

export function wireMachine() {
  onPaint(machine);
  const own = loopback.test(location.hostname);
  setText(byId('phone-words'), t(own ? 'phone.loopback' : 'phone.scan', { address: location.origin }));
  onPaint(({ view }) => {
    const img = byId('qr');
    if (view !== 'machine' || own || img.src) return;
    img.src = '/api/v1/qr.svg';
    img.hidden = false;
  });
}
