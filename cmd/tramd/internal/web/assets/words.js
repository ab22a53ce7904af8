// The words the page says more than once.
import { t } from './t.js';

export const verdicts = Object.fromEntries([['within', '✓'], ['outside', '✕'], ['undecided', '?'], ['none', '–']]
  .map(([name, mark]) => [name, { mark, text: t(`verdict.${name}`), word: t(`verdict.${name}.word`) }]));

export const side = (name, mmPerM) => t(`axis.${name}.${mmPerM > 0 ? 'plus' : 'minus'}`);

// towards names one of eight ways round the table.
export function towards(deg) {
  return t(`way.${Math.round((((deg % 360) + 360) % 360) / 45) % 8}`);
}

export function ago(seconds) {
  if (!(seconds >= 0)) return '';
  if (seconds < 90) return `${Math.round(seconds)} s`;
  if (seconds < 5400) return `${Math.round(seconds / 60)} min`;
  if (seconds < 129600) return `${Math.round(seconds / 3600)} h`;
  return `${Math.round(seconds / 86400)} d`;
}

// when is the moment on this reader's clock, year first (ISO 8601), so that day and month are not mistaken.
export function when(text) {
  const at = new Date(text);
  if (Number.isNaN(at.getTime())) return '–';
  const two = (n) => String(n).padStart(2, '0');
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${two(at.getHours())}:${two(at.getMinutes())}`;
}

export const dateOf = (text) => when(text).slice(0, 10);

// missingArcs turns the 72 sectors into the arcs not yet seen, as "85°–120°"; one arc may run through 0.
export function missingArcs(sectors) {
  const n = sectors.length;
  if (!n || !sectors.includes('0')) return [];
  if (!sectors.includes('1')) return [t('missing.all')];
  const step = 360 / n;
  const first = sectors.indexOf('1');
  const arcs = [];
  let from = -1;
  for (let k = 1; k <= n; k++) {
    const i = (first + k) % n;
    if (sectors[i] === '0' && from < 0) from = i;
    if (sectors[i] === '1' && from >= 0) {
      arcs.push(`${from * step}°–${i === 0 ? 360 : i * step}°`);
      from = -1;
    }
  }
  return arcs;
}
