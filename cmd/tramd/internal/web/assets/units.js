// Leans come in mm/m and lengths in mm; people read them in the unit they think in. One inch is 25.4 mm exactly (ISO 80000-3), a full
// turn 1 296 000 arcseconds. The same is worked out in units.go for the page before any script runs.
import { say } from './say.js';
import { t } from './t.js';

// written reads a tolerance such as "0.02/300" or "0.001 in/12 in": the unit of its rise and the span it is given over.
export function written(tolerance) {
  const m = /^\s*[0-9.]+\s*(mm|in|")?\s*\/\s*([0-9.]+)\s*(mm|cm|m|in|")?\s*$/.exec(tolerance || '');
  const n = m ? Number(m[2]) : 0;
  if (!(n > 0) || !Number.isFinite(n)) return null;
  const name = m[3] === '"' ? 'in' : m[3] || 'mm';
  return { inch: m[1] === 'in' || m[1] === '"', spanMM: n * { mm: 1, cm: 10, m: 1000, in: 25.4 }[name], span: `${n} ${name}` };
}

const metric = { mm_per_m: { label: 'mm/m', factor: 1, digits: 3 } };

function own(tolerance) {
  const w = written(tolerance);
  if (w?.inch) return { label: t('unit.inover', { span: w.span }), factor: w.spanMM / 25400, digits: 5, inch: true };
  if (w) return { label: t('unit.mmover', { span: w.span }), factor: w.spanMM / 1000, digits: 4 };
  if (/arcsec\s*$/.test(tolerance || '')) return { label: 'arcsec', factor: 648 / Math.PI, digits: 1 };
  if (/mrad\s*$/.test(tolerance || '')) return { label: 'mrad', factor: 1, digits: 3 };
  return metric.mm_per_m;
}

// systems are the units there are to choose from: factor turns mm/m into the unit, digits is how many decimals are worth reading at
// arm's length, and inch says that lengths are read in inches too.
export function systems(tolerance) {
  const first = own(tolerance);
  const all = { own: first, mm_per_m: metric.mm_per_m, arcsec: { label: 'arcsec', factor: 648 / Math.PI, digits: 1 },
    thou_ft: { label: t('unit.thou'), factor: 12, digits: 2, inch: true } };
  for (const key of ['mm_per_m', 'arcsec']) if (all[key].label === first.label) delete all[key];
  return all;
}

// unitFor is the unit that was chosen, or the tolerance's own where that does not exist here.
export function unitFor(tolerance, key) {
  const all = systems(tolerance);
  return all[key] ?? (key === 'mm_per_m' || key === 'arcsec' ? all.own : all.own);
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

// bare writes a length without its unit: in mm, or in inches to a tenth of a thou.
export const bare = (x, unit, digits = 3) => (unit?.inch ? mm(x / 25.4, digits + 1) : mm(x, digits));
export const length = (x, unit, digits = 3) => `${bare(x, unit, digits)} ${unit?.inch ? 'in' : 'mm'}`;

const number = '[−+-]?\\d+(?:\\.\\d+)?';
const leans = new RegExp(`${number}(?:(?: to | ± | and |, nod |, nod of )${number})* mm/m\\b(?! per mm)`, 'g'); // "tilt 0.1, nod 0.2 mm/m"
const lengths = new RegExp(`${number}(?:(?: to | ± | and )${number})* mm\\b(?!/)`, 'g');
const numbers = new RegExp(number, 'g');

// inWords writes a sentence of the daemon in the reader's language and in the unit that was chosen. Its sentences are English and come
// in mm and mm/m.
export const inWords = (text, unit) => say(inUnit(text, unit));

function inUnit(text, unit) {
  if (!text || !unit || unit.label === 'mm/m') return text;
  const lean = text.replace(leans, (piece) => piece.replace(numbers, (n) => rescaled(n, unit.factor)).replace(/mm\/m$/, unit.label));
  return unit.inch ? lean.replace(lengths, (piece) => piece.replace(numbers, inches).replace(/mm$/, 'in')) : lean;
}

// inches writes a length in mm in inches: to a tenth of a thou where it is small, and finer only below a thou.
function inches(n) {
  const value = Number(n.replace('−', '-')) / 25.4;
  const decimals = Math.abs(value) >= 0.1 ? Math.min(4, Math.max(2, (n.split('.')[1] ?? '').length + 1)) : Math.abs(value) >= 0.001 ? 4 : 5;
  return (n.startsWith('+') && value >= 0 ? '+' : '') + value.toFixed(decimals).replace('-', '−');
}

// rescaled multiplies a written number and keeps about as many figures as it had.
function rescaled(n, factor) {
  const decimals = (n.split('.')[1] ?? '').length - Math.floor(Math.log10(factor));
  const value = Number(n.replace('−', '-')) * factor;
  return (n.startsWith('+') && value >= 0 ? '+' : '') + value.toFixed(Math.min(7, Math.max(0, decimals))).replace('-', '−');
}

// niceStep is the 1, 2 or 5 times a power of ten at or above x.
export function niceStep(x) {
  if (!(x > 0) || !Number.isFinite(x)) return 1;
  const p = 10 ** Math.floor(Math.log10(x));
  for (const k of [1, 2, 5, 10]) if (k * p >= x * (1 - 1e-9)) return k * p;
  return 10 * p;
}
