// Leans come in mm/m; people read them in the unit they think in. One inch is 25.4 mm exactly (ISO 80000-3), a full turn
// 1 296 000 arcseconds.

const defaultSpanMM = 300;

// spanMM is the span a tolerance such as "0.02/300" or "0.001 in/12 in" was given over.
export function spanMM(tolerance) {
  const m = /\/\s*([0-9.]+)\s*(mm|cm|m|in|")?\s*$/.exec(tolerance || '');
  if (!m) return defaultSpanMM;
  const mm = Number(m[1]) * ({ mm: 1, cm: 10, m: 1000, in: 25.4, '"': 25.4 }[m[2]] ?? 1);
  return mm > 0 && Number.isFinite(mm) ? mm : defaultSpanMM;
}

// systems: factor turns mm/m into the unit, digits is how many decimals are worth reading at arm's length.
export function systems(tolerance) {
  const span = spanMM(tolerance);
  const shown = Number(span.toFixed(1));
  return {
    mm_per_m: { label: 'mm/m', factor: 1, digits: 3 },
    span: { label: `mm over ${shown} mm`, factor: span / 1000, digits: 4 },
    arcsec: { label: 'arcsec', factor: 648 / Math.PI, digits: 1 },
    thou_ft: { label: 'thou/ft', factor: 12, digits: 2 },
  };
}

// digitsFor gives enough decimals that the uncertainty does not read as nought, two more at most.
function digitsFor(unit, U) {
  let d = unit.digits;
  while (U > 0 && d < unit.digits + 2 && U * unit.factor * 10 ** d < 1) d++;
  return d;
}

// signed writes a lean with its sign; -0.000 is 0.000.
export function signed(mmPerM, unit, U = 0) {
  const d = digitsFor(unit, U);
  const text = Math.abs(mmPerM * unit.factor).toFixed(d);
  if (Number(text) === 0) return text;
  return (mmPerM < 0 ? '−' : '+') + text;
}

export function size(mmPerM, unit, U = 0) {
  return Math.abs(mmPerM * unit.factor).toFixed(digitsFor(unit, U));
}

// expanded rounds an uncertainty up, never down.
export function expanded(U, unit) {
  const d = digitsFor(unit, U);
  return (Math.ceil(U * unit.factor * 10 ** d - 1e-9) / 10 ** d).toFixed(d);
}

export const mm = (x, digits = 3) => (x < 0 && Number(x.toFixed(digits)) !== 0 ? '−' : '') + Math.abs(x).toFixed(digits);

// niceStep is the 1, 2 or 5 times a power of ten at or above x.
export function niceStep(x) {
  if (!(x > 0) || !Number.isFinite(x)) return 1;
  const p = 10 ** Math.floor(Math.log10(x));
  for (const k of [1, 2, 5, 10]) if (k * p >= x * (1 - 1e-9)) return k * p;
  return 10 * p;
}
