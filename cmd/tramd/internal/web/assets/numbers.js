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
  return p > 0 && p < 0.001 ? '< 0.1 %' : `${(100 * p).toFixed(1)} %`;
}

// chance writes a probability, never as sure: one that comes as 0 or 1 has only lost its last digits.
export function chance(p) {
  if (p == null || !Number.isFinite(p)) return '–';
  const text = p < 0.001 ? '< 0.1 %' : p > 0.999 ? '> 99.9 %' : percent(p);
  return text.replaceAll(' ', '\u00a0'); // in one piece
}

export const wrapped = (deg) => ((deg % 360) + 360) % 360;
