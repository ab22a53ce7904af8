// Where 0 degrees of the encoder is: the person points the arm right, presses, turns it towards the back and presses again.
import { byId, setText } from './dom.js';
import { idle, mayChange, on, send } from './steer.js';

let zero = null;

const pressWords = { right: 'The arm points right', back: 'The arm was turned towards the back' };

// knownWords says where a known zero comes from and what keeps it.
function knownWords(z) {
  if (z.from === 'configuration') return 'The configuration says where 0 degrees is.';
  const kept = z.index_deg === null ? 'It lasts until the encoder or the daemon is switched off.' : 'The index mark keeps it over a power cut.';
  return `The zero was set on ${new Date(z.at).toLocaleString()}. ${kept}`;
}

export function zeroState(state) {
  zero = state.angle.zero ?? null;
  byId('zero').classList.toggle('gone', !zero);
  if (!zero) return;
  const asking = !zero.known || zero.next === 'back';
  setText(byId('zero-why'), zero.known ? knownWords(zero) : `${zero.why} Until it is set, a sweep shows the size of the lean and no direction.`);
  setText(byId('zero-say'), asking ? zero.say : '');
  setText(byId('zero-press'), zero.known && zero.next === 'right' ? 'Set the zero again: the arm points right' : pressWords[zero.next]);
  byId('zero-press').disabled = !mayChange() || !idle();
  byId('zero-forget').hidden = !zero.known || zero.from === 'configuration';
  byId('zero-forget').disabled = !mayChange() || !idle();
}

export function wireZero() {
  on('zero-press', 'click', async () => {
    const st = await send('POST', '/api/v1/zero', { step: zero.next });
    return st.next === 'back' ? st.say : 'The zero is set.';
  }, 'zero-answer');
  on('zero-forget', 'click', async () => {
    await send('DELETE', '/api/v1/zero');
    return 'The zero is forgotten.';
  }, 'zero-answer');
}
