// What was moved: a field for each adjuster, and the amounts that stand in the fields.
import { make } from './dom.js';
import { t } from './t.js';

const mmPerInch = 25.4;

// field returns an adjuster's field in its label. An adjuster that goes by mm has it in inches in an inch shop.
export function field(a, by, unit, words) {
  const inch = unit.inch && a.unit === 'mm';
  const label = make('label', '', words(inch ? 'in' : a.unit));
  const input = make('input');
  Object.assign(input, { type: 'number', step: 'any', name: a.name, inch, value: by === undefined ? '' : inch ? (by / mmPerInch).toFixed(4) : by });
  input.setAttribute('inputmode', 'decimal');
  label.append(input);
  return label;
}

// amounts returns by how much each adjuster was moved, in its own unit. An empty field and 0 are no move; no move at all is an error.
export function amounts(box) {
  const filled = [...box.querySelectorAll('input')].filter((i) => Number(i.value) !== 0);
  if (!filled.length) throw new Error(t('moved.nothing'));
  return Object.fromEntries(filled.map((i) => [i.name, i.inch ? Number((Number(i.value) * mmPerInch).toFixed(6)) : Number(i.value)]));
}
