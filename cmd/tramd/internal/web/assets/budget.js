// The uncertainty budget of an axis: each component, what it adds, and how large its part of the variance is
// (JCGM 100:2008, 5.1 and 8). Contributions are in mm/m whatever unit the lean is shown in, as the sensitivities are.
import { draw, make } from './dom.js';
import { percent, significant } from './numbers.js';
import { headings, pairs, part } from './findings.js';

const columns = ['Component', 'Type', 'Standard uncertainty', 'Sensitivity', 'Degrees of freedom', 'Contribution, mm/m', 'Share of variance', 'Note'];
const classes = ['component', 'type', 'u', 'sensitivity', 'dof', 'contribution', 'share', 'from'];

export function budgets(run) {
  const r = run.result;
  if (!r) return [];
  return ['tilt', 'nod'].filter((name) => r[name]).map((name) => budget(name, r[name], r));
}

function budget(name, axis, r) {
  const s = part('budget', `Uncertainty budget of the ${name}`);
  s.id = `budget-${name}`;
  const list = axis.budget ?? [];
  if (!list.length) {
    s.append(make('p', '', `The ${r.model} model gives no budget.`));
  } else {
    const table = role(make('table'), 'table');
    table.setAttribute('aria-label', `uncertainty budget of the ${name}`);
    const body = role(make('tbody'), 'rowgroup');
    body.append(...list.map(row));
    table.append(headings(columns), body);
    s.append(table);
  }
  s.append(sums(axis, r, list));
  return s;
}

function role(el, name) {
  el.setAttribute('role', name);
  return el;
}

function row(c) {
  const tr = role(make('tr'), 'row');
  const unit = c.unit === '1' || !c.unit ? '' : c.unit === 'deg' ? '°' : ` ${c.unit}`;
  const per = unit ? ` mm/m per ${unit.trim()}` : ' mm/m';
  const texts = [
    c.name, c.type, significant(c.u) + unit, significant(c.sensitivity) + per,
    c.dof == null ? 'taken as known' : c.dof < 1 ? 'below 1' : significant(c.dof), significant(c.contribution), percent(c.share), c.note ?? '',
  ];
  texts.forEach((text, i) => {
    const cell = role(make(i ? 'td' : 'th', classes[i], text), i ? 'cell' : 'rowheader');
    if (i) cell.dataset.label = columns[i];
    else cell.scope = 'row';
    if (classes[i] === 'share') cell.append(bar(c.share));
    tr.append(cell);
  });
  return tr;
}

function bar(share) {
  const svg = draw('svg', { class: 'share-bar', viewBox: '0 0 100 6', preserveAspectRatio: 'none', 'aria-hidden': 'true' });
  const part = Math.max(0, Math.min(1, share || 0));
  svg.append(draw('rect', { class: 'whole', width: 100, height: 6 }), draw('rect', { class: 'part', width: (100 * part).toFixed(2), height: 6 }));
  return svg;
}

function sums(axis, r, list) {
  const added = Math.hypot(...list.map((c) => c.contribution));
  const apart = list.length > 0 && Math.abs(added - axis.u_mm_per_m) > 0.01 * axis.u_mm_per_m;
  const k = axis.U_mm_per_m / axis.u_mm_per_m;
  const own = Number.isFinite(k) && Math.abs(k - r.coverage_factor) > 0.005 * k;
  return pairs([
    ['Combined standard uncertainty', `${significant(axis.u_mm_per_m)} mm/m`],
    ['Components added in quadrature', apart ? `${significant(added)} mm/m: not what was combined; trust neither before it is known why` : null],
    ['Coverage factor', own ? `${significant(k)} for this axis, ${significant(r.coverage_factor)} for the run` : significant(r.coverage_factor)],
    ['Degrees of freedom of the run', r.dof == null ? 'many, or not known' : significant(r.dof)],
    ['Expanded uncertainty, 95 %', `${significant(axis.U_mm_per_m)} mm/m`],
  ]);
}
