// The words the page says more than once.

export const sides = { tilt: ['left', 'right'], nod: ['front', 'back'] };

export const verdicts = {
  within: { mark: '✓', text: 'within the limit' },
  outside: { mark: '✕', text: 'outside the limit' },
  undecided: { mark: '?', text: 'undecided: the uncertainty reaches across the limit' },
  none: { mark: '–', text: 'no limit given' },
};

// towards names one of eight ways round the table.
export function towards(deg) {
  const names = ['right', 'back right', 'back', 'back left', 'left', 'front left', 'front', 'front right'];
  return names[Math.round((((deg % 360) + 360) % 360) / 45) % 8];
}

export function ago(seconds) {
  if (!(seconds >= 0)) return '';
  if (seconds < 90) return `${Math.round(seconds)} s`;
  if (seconds < 5400) return `${Math.round(seconds / 60)} min`;
  if (seconds < 129600) return `${Math.round(seconds / 3600)} h`;
  return `${Math.round(seconds / 86400)} d`;
}

// when is the moment on this reader's clock, in the order that nobody mistakes (ISO 8601).
export function when(text) {
  const t = new Date(text);
  if (Number.isNaN(t.getTime())) return '–';
  const two = (n) => String(n).padStart(2, '0');
  return `${t.getFullYear()}-${two(t.getMonth() + 1)}-${two(t.getDate())} ${two(t.getHours())}:${two(t.getMinutes())}`;
}

// arcs turns the 72 sectors into the arcs not yet seen, as "85°–120°"; one arc may run through 0.
export function missingArcs(sectors) {
  const n = sectors.length;
  if (!n || !sectors.includes('0')) return [];
  if (!sectors.includes('1')) return ['the whole circle'];
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
