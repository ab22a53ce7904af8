// What a stored run says, in words and figures: the two axes, the lean, what was seen of the surface, what was left out.
import { draw, make } from './dom.js';
import { bare, expanded, inWords, length, signed, size } from './units.js';
import { towards, verdicts } from './words.js';
import { chance, significant, wrapped } from './numbers.js';
import { gauge, leanWords, times } from './figures.js';
import { state } from './state.js';
import { has, many, named, t } from './t.js';

const mostRows = 40;

export function part(className, title) {
  const s = make('section', className);
  s.append(make('h3', 'title', title));
  return s;
}

// findings are what is seen first, and what folds away.
export function findings(run, unit) {
  const r = run.result;
  if (!r) {
    const s = part('none', t('found.title'));
    s.append(make('p', '', t(run.outcome ? 'found.nothing' : 'found.notyet')));
    return { first: [s], rest: [setup(run, unit)] };
  }
  return { first: [axes(run, r, unit), curveOf(), plot()], rest: [facts(run, r, unit), setup(run, unit), leftOut(run, r), ...harmonics(r, unit)] };
}

function curveOf() {
  const s = part('run-curve trace', t('curve.title'));
  s.append(make('div', 'run-plot'));
  return s;
}

function axes(run, r, unit) {
  const s = part('both-axes', t('found.title'));
  const row = make('div', 'pair');
  row.append(axis('tilt', run, unit), axis('nod', run, unit));
  s.append(row);
  if (r.lean && r.lean.azimuth_deg === null) s.append(make('p', 'together', t('found.size', { size: size(r.lean.mm_per_m, unit, r.lean.U_mm_per_m), half: expanded(r.lean.U_mm_per_m, unit), unit: unit.label })));
  else if (r.lean) s.append(make('p', 'together', t('found.together', { size: size(r.lean.mm_per_m, unit), unit: unit.label, deg: significant(r.lean.azimuth_deg), way: towards(r.lean.azimuth_deg) })));
  const v = verdicts[r.verdict] ?? verdicts.none;
  const both = r.conformity_probability == null ? '' : ` ${t('found.chance.both', { chance: chance(r.conformity_probability) })}`;
  s.append(make('p', `overall said ${r.verdict}`, `${v.mark} ${t('found.both', { verdict: v.text })}${both}`));
  if (r.warnings?.length) {
    const list = make('ul', 'warnings');
    list.append(...r.warnings.map((w) => make('li', '', inWords(w.text, unit))));
    s.append(list);
  }
  return s;
}

function axis(name, run, unit) {
  const a = run.result[name];
  const box = make('article', `found ${name}`);
  const h = make('h4', '', `${t(`axis.${name}`)} `);
  h.append(make('small', '', t(`axis.${name}.way`)));
  box.append(h);
  if (!a) {
    box.append(make('p', 'figure', '–'), make('p', 'words', t('axis.unmeasured')));
    return box;
  }
  const v = verdicts[a.verdict] ?? verdicts.none;
  const figure = make('p', 'figure', signed(a.mm_per_m, unit, a.U_mm_per_m));
  figure.append(make('span', 'pm', ` ± ${expanded(a.U_mm_per_m, unit)} ${unit.label}`));
  box.append(figure);
  const limit = limitOf(run);
  if (limit > 0) {
    const svg = draw('svg', { class: 'gauge', role: 'img' });
    gauge(svg, a, limit, t('gauge', { axis: t(`axis.${name}`), times: times(a, limit), verdict: v.text }));
    box.append(svg);
  }
  box.append(make('p', `verdict ${a.verdict}`, `${v.mark} ${v.text}`), make('p', 'words', leanWords(a, name)));
  if (a.conformity_probability != null) box.append(make('p', 'chance', t('found.chance', { chance: chance(a.conformity_probability) })));
  return box;
}

// limitOf is the limit that the run was judged by, where it is still the machine's.
const limitOf = (run) => (state.snap && run.tolerance === state.snap.tolerance ? state.snap.limit_mm_per_m : 0);

export function pairs(list) {
  const dl = make('dl', 'facts');
  for (const [term, text] of list) {
    if (text === null) continue;
    const div = make('div');
    div.append(make('dt', '', term), make('dd', '', text));
    dl.append(div);
  }
  return dl;
}

function facts(run, r, unit) {
  const long = (x) => (x == null ? t('fact.unseen') : length(x, unit, 4));
  const names = (run.setup?.indicators ?? []).map((i) => i.name);
  const offsets = r.offsets_mm?.length > 1
    ? r.offsets_mm.map((v, i) => `${names[i] ?? t('indicator.n', { n: i + 1 })} ${v == null ? t('fact.silent') : long(v)}`).join(', ') : long(r.offset_mm);
  const s = part('measured', t('fact.title'));
  s.append(pairs([
    [t('fact.tolerance'), run.tolerance || t('fact.none')],
    [t('fact.closure'), long(r.closure_mm)],
    [t('fact.offset'), offsets],
    [t('fact.pair'), r.pair ? t('fact.pair.reads', { one: r.pair.indicator, other: r.pair.less, zero: long(r.pair.zero_mm), u: long(r.pair.u_mm) }) : null],
    [t('fact.residual'), long(r.residual_rms_mm)],
    [t('fact.form'), long(r.form_pv_mm)],
    [t('fact.seen'), `${Math.round(r.coverage_deg)}°`],
    [t('fact.readings'), `${t('fact.fitted', { fitted: r.readings, out: r.rejected, stored: run.readings ?? '–' })}${run.untagged ? t('fact.noangle', { n: run.untagged }) : ''}`],
    [t('fact.coverage'), significant(r.coverage_factor)],
    [t('fact.dof'), r.dof == null ? t('fact.many') : significant(r.dof)],
    [t('fact.model'), t('fact.version', { model: named('model', r.model), version: r.model_version })],
  ]));
  return s;
}

function setup(run, unit) {
  const s = part('as-set', t('setup.title'));
  const u = run.setup ?? {};
  const source = has(`source.${u.angle_source}`) ? t(`source.${u.angle_source}`) : u.angle_source ?? '–';
  s.append(pairs([
    [t('setup.machine'), u.machine || '–'],
    [t('setup.surface'), u.surface || null],
    [t('setup.angle'), source],
    [t('setup.stations'), u.stations_deg?.length ? u.stations_deg.map((d) => `${Number(d.toFixed(2))}°`).join(', ') : null],
    ...(u.indicators ?? []).map((i) => [t('setup.indicator', { name: i.name }), [
      t('setup.radius', { radius: plain(i.radius_mm, unit, 4), u: i.radius_u_mm ? plain(i.radius_u_mm, unit, 2) : t('setup.notgiven') }),
      t('setup.resolution', { resolution: unit.inch ? length(i.resolution_mm, unit, 4) : `${i.resolution_mm} mm` }),
      i.mpe_mm ? t('setup.mpe', { mpe: unit.inch ? length(i.mpe_mm, unit, 4) : `${i.mpe_mm} mm` }) : t('setup.nompe'),
      i.phase_deg ? t('setup.phase', { deg: i.phase_deg }) : '',
    ].filter(Boolean).join(', ')]),
  ]));
  return s;
}

const plain = (x, unit, n) => `${significant(unit.inch ? x / 25.4 : x, n)} ${unit.inch ? 'in' : 'mm'}`;

function plot() {
  const s = part('rest', t('rest.title'));
  s.append(make('div', 'rest-plot'), make('p', 'small rest-words', ''));
  return s;
}

function harmonics(r, unit) {
  if (!r.form?.length) return [];
  const s = part('form', t('form.title'));
  s.append(tabled('harmonics', [t('form.points'), t('form.amplitude'), t('form.first')],
    r.form.map((h) => [t('form.turn', { n: h.order }), unit.inch ? `${bare(h.amplitude_mm, unit, 5)} in` : `${(1000 * h.amplitude_mm).toFixed(2)} µm`, `${Number(wrapped(h.phase_deg).toFixed(1))}°`])));
  return [s];
}

function leftOut(run, r) {
  const s = part('left-out', t('out.title'));
  const list = r.rejections ?? [];
  if (!list.length) {
    s.append(make('p', '', r.rejected ? many('out.unsaid', r.rejected) : t('out.nothing')));
    return s;
  }
  const names = run.setup?.indicators ?? [];
  s.append(tabled('rejections', [t('fact.readings'), t('out.angle'), t('out.time'), t('out.why')], list.slice(0, mostRows).map((x) => {
    const who = names.length > 1 ? `, ${names[x.indicator]?.name ?? t('indicator.n', { n: x.indicator + 1 })}` : '';
    return [String(x.readings), where(x) + who, spanOf(x.from_s, x.to_s, 's', 1), has(`out.${x.code}`) ? t(`out.${x.code}`) : x.code];
  })));
  if (list.length > mostRows) s.append(make('p', 'small', many('out.more', list.length - mostRows)));
  return s;
}

function where(x) {
  if (x.code === 'no_angle') return t('out.unknown');
  if (Math.abs(x.to_deg - x.from_deg) >= 360) return t('out.round');
  const [a, b] = x.from_deg <= x.to_deg ? [x.from_deg, x.to_deg] : [x.to_deg, x.from_deg];
  return spanOf(wrapped(a), wrapped(b), '°', 1, '');
}

function spanOf(a, b, unit, digits, gap = ' ') {
  const [x, y] = [a.toFixed(digits), b.toFixed(digits)];
  return x === y ? `${x}${gap}${unit}` : `${x}–${y}${gap}${unit}`;
}

// Roles are spelled out: a table that is laid out as stacked rows would lose them.
export function headings(names) {
  const head = make('thead');
  head.setAttribute('role', 'rowgroup');
  const tr = make('tr');
  tr.setAttribute('role', 'row');
  for (const name of names) {
    const th = make('th', '', name);
    th.scope = 'col';
    th.setAttribute('role', 'columnheader');
    tr.append(th);
  }
  head.append(tr);
  return head;
}

function line(cells) {
  const tr = make('tr');
  tr.setAttribute('role', 'row');
  tr.append(...cells.map((text) => {
    const td = make('td', '', text);
    td.setAttribute('role', 'cell');
    return td;
  }));
  return tr;
}

function tabled(className, names, rows) {
  const table = make('table', className);
  table.setAttribute('role', 'table');
  const body = make('tbody');
  body.setAttribute('role', 'rowgroup');
  body.append(...rows.map(line));
  table.append(headings(names), body);
  return table;
}
