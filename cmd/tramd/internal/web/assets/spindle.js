// The spindle seen from the front and from the side, leaning. The lean is drawn enlarged, by a round number that the words give.
import { byId, draw, set, setText } from './dom.js';
import { shown } from './figures.js';
import { side } from './words.js';
import { t } from './t.js';

const steepest = 0.22; // radians on the paper

let parts;

function build() {
  parts = ['tilt', 'nod'].map((axis, i) => {
    const x = 110 + 220 * i;
    const body = draw('g', { class: 'body' });
    body.append(
      draw('path', { class: 'shell', d: 'M-21 -128h42v58h-8l-3 18h-20l-3 -18h-8z' }), // housing and nose
      draw('path', { class: 'shaft', d: 'M-5 -52h10v16h-10z' }),
      draw('path', { class: 'axis-line', d: 'M0 -150V0' }),
    );
    const label = (px, py, anchor, key, name = 'end-name') => {
      const el = draw('text', { x: px, y: py, class: name, 'text-anchor': anchor });
      el.textContent = t(key);
      return el;
    };
    const g = draw('g', { transform: `translate(${x} 172)` });
    g.append(
      draw('path', { class: 'plumb', d: 'M0 -150V0' }),
      draw('path', { class: 'bed', d: 'M-92 0h184v12h-184zM-58 12v7h-14v-7m144 0v7h-14v-7' }),
      label(-92, 34, 'start', `axis.${axis}.minus`), label(92, 34, 'end', `axis.${axis}.plus`), label(0, 34, 'middle', `lean.from.${axis}`, 'view-name'),
      body,
    );
    return { axis, g, body };
  });
  byId('spindle').replaceChildren(...parts.map((p) => p.g));
}

// enlargement is the round number by which the larger lean fills the paper.
export function enlargement(slope) {
  if (!(slope > 0)) return 1;
  const most = steepest / slope;
  const p = 10 ** Math.floor(Math.log10(most));
  return Math.max(1, [5, 2, 1].map((k) => k * p).find((k) => k <= most) ?? p);
}

export function spindle(snap) {
  if (!parts) build();
  const { result } = shown(snap);
  const lean = (axis) => result?.[axis]?.mm_per_m ?? 0;
  const k = enlargement(Math.max(Math.abs(lean('tilt')), Math.abs(lean('nod'))) / 1000);
  for (const { axis, g, body } of parts) {
    const a = result?.[axis];
    g.classList.toggle('unknown', !a);
    set(body, { transform: `rotate(${((lean(axis) / 1000) * k * 180 / Math.PI).toFixed(2)})`, class: `body ${a?.verdict ?? 'none'}` });
  }
  const words = ['tilt', 'nod'].filter((axis) => result?.[axis]).map((axis) => {
    const a = result[axis];
    return Math.abs(a.mm_per_m) <= a.U_mm_per_m ? t('lean.straight', { from: t(`lean.from.${axis}`) }) : t('lean.leans', { from: t(`lean.from.${axis}`), side: side(axis, a.mm_per_m) });
  });
  setText(byId('spindle-words'), words.length ? `${words.join(' ')} ${t('lean.enlarged', { k: k.toLocaleString(document.documentElement.lang) })}` : t('plan.none'));
}
