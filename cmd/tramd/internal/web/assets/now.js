// The now view: the figures, one instruction, and the next act.
import { byId, setText } from './dom.js';
import { onPaint, state } from './state.js';
import { figures, heldBack } from './figures.js';
import { plan } from './plan.js';
import { ring } from './ring.js';
import { curve, watch } from './curve.js';
import { spindle } from './spindle.js';
import { steer } from './steer.js';
import { unitNow } from './frame.js';
import { inWords } from './units.js';
import { t } from './t.js';

// nextStep says in one sentence what to do now. While a sweep is in hand the daemon knows best; between sweeps the job does.
export function nextStep({ snap, advice }) {
  if (snap.sweep.phase !== 'idle') return snap.sweep.say || '…';
  if ((snap.devices ?? []).some((d) => d.role !== 'machine' && (d.state === 'lost' || d.state === 'absent'))) return snap.sweep.say || t('say.plug');
  if (heldBack(snap)) return t('say.unstored');
  if (!snap.last) return t('say.first');
  if (advice?.must_sweep) return t('say.again');
  if (advice?.done && snap.last.result.verdict === 'within') return t('say.done');
  const move = advice?.moves?.[0];
  if (move) return move.say || `${move.adjuster}: ${move.by} ${move.unit}`;
  return t(`say.${snap.last.result.verdict}`) || snap.sweep.say;
}

const pictures = ['plan', 'trace', 'lean'];

export function wireNow() {
  watch();
  byId('turn-picture').addEventListener('click', () => {
    const box = byId('pictures');
    box.dataset.shown = String((Number(box.dataset.shown) + 1) % pictures.length);
  });
  onPaint((s) => {
    if (!s.snap) return;
    const unit = unitNow();
    setText(byId('say'), inWords(nextStep(s), unit));
    figures(s.snap, unit);
    plan(s.snap, unit);
    ring(s.snap);
    spindle(s.snap, unit);
    curve(s.snap.sweep.phase === 'idle' ? state.lastCurve : state.curve, s.snap, unit);
    steer(s);
  });
}
