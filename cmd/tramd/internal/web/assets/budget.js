// The uncertainty budget of an axis: each component, what it adds, and how large its part of the variance is
// (JCGM 100:2008, 5.1 and 8). Contributions are in mm/m, or thou/ft where inches are read, as the sensitivities are.
import { draw, make } from './dom.js';
import { percent, significant } from './numbers.js';
import { headings, pairs, part } from './findings.js';
import { say } from './say.js';
import { t } from './t.js';

const classes = ['component', 'type', 'u', 'sensitivity', 'dof', 'contribution', 'share', 'from'];

// scale turns mm/m into what the budget is written in; 12 thou a foot are one mm/m exactly.
const scale = (unit) => (unit.inch ? { by: 12, label: t('unit.thou') } : { by: 1, label: 'mm/m' });

const columns = (unit) => classes.map((c) => t(`budget.${c}`, { unit: scale(unit).label }));

// largest shows the three components that add most to each axis as bars: what to better first.
export function largest(run, unit) {
  const r = run.result;
  const axes = ['tilt', 'nod'].filter((name) => r?.[name]?.budget?.length);
  if (!axes.length) return [];
  const s = part('largest', t('budget.largest'));
  const row = make('div', 'pair');
  for (const name of axes) {
    const box = make('div');
    box.append(make('h4', '', t(`axis.${name}`)));
    const list = make('ul', 'shares');
    for (const c of [...r[name].budget].sort((a, b) => b.share - a.share).slice(0, 3)) {
      const li = make('li');
      li.append(make('span', 'name', say(c.name)), make('span', 'part-of', percent(c.share)), bar(c.share));
      list.append(li);
    }
    box.append(list);
    row.append(box);
  }
  s.append(row);
  return [s];
}

export function budgets(run, unit) {
  const r = run.result;
  if (!r) return [];
  return ['tilt', 'nod'].filter((name) => r[name]).map((name) => budget(name, r[name], r, unit));
}

function budget(name, axis, r, unit) {
  const s = part('budget', t('budget.title', { axis: t(`axis.${name}`) }));
  s.id = `budget-${name}`;
  const list = axis.budget ?? [];
  if (!list.length) {
    s.append(make('p', '', t('budget.none', { model: r.model })));
  } else {
    const table = role(make('table'), 'table');
    table.setAttribute('aria-label', t('budget.title', { axis: t(`axis.${name}`) }));
    const body = role(make('tbody'), 'rowgroup');
    body.append(...list.map((c) => row(c, unit)));
    table.append(headings(columns(unit)), body);
    s.append(table);
  }
  s.append(sums(axis, r, list, unit));
  return s;
}

function role(el, name) {
  el.setAttribute('role', name);
  return el;
}

function row(c, unit) {
  const tr = role(make('tr'), 'row');
  const { by, label } = scale(unit);
  const inch = unit.inch && c.unit === 'mm';
  const own = c.unit === '1' || !c.unit ? '' : c.unit === 'deg' ? '°' : ` ${inch ? 'in' : c.unit}`;
  const per = own ? ` ${t('budget.per', { unit: label, one: own.trim() })}` : ` ${label}`;
  const texts = [
    say(c.name), c.type, significant(inch ? c.u / 25.4 : c.u) + own, significant(c.sensitivity * by * (inch ? 25.4 : 1)) + per,
    c.dof == null ? t('budget.known') : c.dof < 1 ? t('budget.below') : significant(c.dof), significant(c.contribution * by), percent(c.share), say(c.note ?? ''),
  ];
  const names = columns(unit);
  texts.forEach((text, i) => {
    const cell = role(make(i ? 'td' : 'th', classes[i], text), i ? 'cell' : 'rowheader');
    if (i) cell.dataset.label = names[i];
    else cell.scope = 'row';
    if (classes[i] === 'share') cell.append(bar(c.share));
    tr.append(cell);
  });
  return tr;
}

function bar(share) {
  const svg = draw('svg', { class: 'share-bar', viewBox: '0 0 100 6', preserveAspectRatio: 'none', 'aria-hidden': 'true' });
  const shown = Math.max(0, Math.min(1, share || 0));
  svg.append(draw('rect', { class: 'whole', width: 100, height: 6 }), draw('rect', { class: 'part', width: (100 * shown).toFixed(2), height: 6 }));
  return svg;
}

function sums(axis, r, list, unit) {
  const { by, label } = scale(unit);
  const added = Math.hypot(...list.map((c) => c.contribution));
  const apart = list.length > 0 && Math.abs(added - axis.u_mm_per_m) > 0.01 * axis.u_mm_per_m;
  const k = axis.U_mm_per_m / axis.u_mm_per_m;
  const own = Number.isFinite(k) && Math.abs(k - r.coverage_factor) > 0.005 * k;
  return pairs([
    [t('budget.combined'), `${significant(axis.u_mm_per_m * by)} ${label}`],
    [t('budget.added'), apart ? t('budget.apart', { added: significant(added * by), unit: label }) : null],
    [t('fact.coverage'), own ? t('budget.own', { axis: significant(k), run: significant(r.coverage_factor) }) : significant(r.coverage_factor)],
    [t('budget.dof'), r.dof == null ? t('fact.many') : significant(r.dof)],
    [t('budget.expanded'), `${significant(axis.U_mm_per_m * by)} ${label}`],
  ]);
}
