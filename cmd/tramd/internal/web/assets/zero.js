// Where 0 degrees of the encoder is: the person points the arm right, presses, turns it towards the back and presses again.
import { byId, setText } from './dom.js';
import { on, send } from './api.js';
import { idle, may, onPaint, state } from './state.js';
import { when } from './words.js';
import { say } from './say.js';
import { t } from './t.js';

// knownWords says where a known zero comes from and what keeps it.
function knownWords(z) {
  if (z.from === 'configuration') return t('zero.configured');
  return `${t('zero.set', { when: when(z.at) })} ${t(z.index_deg === null ? 'zero.lasts' : 'zero.index')}`;
}

// The now view asks for a zero that is missing; one that is known stands in the machine view, where it can be set again.
function zero({ snap }) {
  const z = snap?.angle.zero ?? null;
  const asking = Boolean(z) && (!z.known || z.next === 'back');
  byId('zero').classList.toggle('gone', !asking || !idle());
  byId('zero-known').classList.toggle('gone', !z?.known);
  if (!z) return;
  setText(byId('zero-why'), z.known ? '' : `${say(z.why)} ${t('zero.until')}`);
  setText(byId('zero-say'), asking ? say(z.say) : '');
  setText(byId('zero-press'), t(z.next === 'back' ? 'zero.back' : 'zero.right'));
  setText(byId('zero-from'), z.known ? knownWords(z) : '');
  for (const id of ['zero-press', 'zero-again', 'zero-forget']) byId(id).disabled = !may() || !idle();
  byId('zero-forget').hidden = !z.known || z.from === 'configuration';
}

async function press() {
  const st = await send('POST', '/api/v1/zero', { step: state.snap.angle.zero.next });
  return st.next === 'back' ? say(st.say) : t('zero.done');
}

export function wireZero() {
  onPaint(zero);
  on('zero-press', 'click', press, 'zero-answer');
  on('zero-again', 'click', press, 'zero-answer-machine');
  on('zero-forget', 'click', async () => {
    await send('DELETE', '/api/v1/zero');
    return t('zero.forgotten');
  }, 'zero-answer-machine');
}
