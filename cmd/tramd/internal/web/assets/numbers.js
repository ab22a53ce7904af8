// Numbers that are read at the desk rather than at arm's length: significant digits, plain powers of ten, shares.
const raised = '⁰¹²³⁴⁵⁶⁷⁸⁹';
const minus = (text) => text.replace('-', '−');

// significant writes x with n significant digits; what is very small or large with a power of ten.
export function significant(x, n = 3) {
  if (x == null || !Number.isFinite(x)) return '–';
  if (x === 0) return '0';
  const [head, tail] = x.toExponential(n - 1).split('e');
  const p = Number(tail);
  if (p >= -4 && p < 6) return minus(Number(x.toPrecision(n)).toFixed(Math.max(0, n - 1 - p)));
  const power = [...String(Math.abs(p))].map((c) => raised[c]).join('');
  return `${minus(head)}×10${p < 0 ? '⁻' : ''}${power}`;
}

// percent writes a share: what is small is not said to be nothing.
export function percent(p) {
  if (p == null || !Number.isFinite(p)) return '–';
  return p > 0 && p < 0.001 ? '<\u00a00.1\u00a0%' : `${(100 * p).toFixed(1)}\u00a0%`;
}

// chance writes a probability, never as sure: one that comes as 0 or 1 has only lost its last digits.
export function chance(p) {
  if (p == null || !Number.isFinite(p)) return '–';
  if (p < 0.001) return '<\u00a00.1\u00a0%';
  return p > 0.999 ? '>\u00a099.9\u00a0%' : percent(p);
}

export const wrapped = (deg) => ((deg % 360) + 360) % 360;
