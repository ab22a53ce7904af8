// What a stored run says, in words and figures: the two axes, the lean, what was seen of the surface, what was left out.
import { make } from './dom.js';
import { signed, size, expanded, mm } from './units.js';
import { towards, verdicts } from './words.js';
import { chance, significant, wrapped } from './numbers.js';
import { leanWords } from './figures.js';

const mostRows = 40;

const reasons = {
  no_angle: 'the spindle angle was not known',
  duplicate: 'the same reading, time and angle again',
  stuck: 'the reading stood still while the spindle turned',
  end_of_travel: 'the indicator stood at an end of its travel',
  spike_up: 'single readings above their neighbours: dust, a chip',
  spike_down: 'single readings below their neighbours: a lost digit, a scratch',
  raised: 'an arc above the surface: a chip carried along, a burr',
  hollow: 'an arc below the surface: a slot, a hole, a seam',
};

export function part(className, title) {
  const s = make('section', className);
  s.append(make('h3', 'title', title));
  return s;
}

export function findings(run, unit) {
  const r = run.result;
  if (!r) {
    const s = part('none', 'Result');
    s.append(make('p', '', run.outcome ? 'Nothing was concluded from this run. Its readings are stored and can be fitted again from the CSV file.' : 'Nothing concluded yet.'));
    return [s, setup(run)];
  }
  return [axes(r, unit), facts(run, r, unit), setup(run), plot(r), leftOut(run, r)];
}

function axes(r, unit) {
  const s = part('both-axes', 'Lean');
  const row = make('div', 'pair');
  row.append(axis('tilt', 'left–right', r.tilt, unit), axis('nod', 'front–back', r.nod, unit));
  s.append(row);
  if (r.lean && r.lean.azimuth_deg === null) s.append(make('p', 'together', `The lean is ${size(r.lean.mm_per_m, unit, r.lean.U_mm_per_m)} ± ${expanded(r.lean.U_mm_per_m, unit)} ${unit.label}; its direction is not known.`));
  else if (r.lean) s.append(make('p', 'together', `Together: the upper end leans ${size(r.lean.mm_per_m, unit)} ${unit.label} towards ${significant(r.lean.azimuth_deg)}° (${towards(r.lean.azimuth_deg)}).`));
  const v = verdicts[r.verdict] ?? verdicts.none;
  const both = r.conformity_probability == null ? '' : ` Probability that both axes are within it: ${chance(r.conformity_probability)}.`;
  s.append(make('p', `overall said ${r.verdict}`, `${v.mark} Both axes: ${v.text}.${both}`));
  if (r.warnings?.length) {
    const list = make('ul', 'warnings');
    list.append(...r.warnings.map((w) => make('li', '', w.text)));
    s.append(list);
  }
  return s;
}

function axis(name, way, a, unit) {
  const box = make('article', `found ${name}`);
  const h = make('h4', '', name === 'tilt' ? 'Tilt ' : 'Nod ');
  h.append(make('small', '', way));
  box.append(h);
  if (!a) {
    box.append(make('p', 'figure', '–'), make('p', 'words', 'not measured by these stations'));
    return box;
  }
  const v = verdicts[a.verdict] ?? verdicts.none;
  const figure = make('p', 'figure', signed(a.mm_per_m, unit, a.U_mm_per_m));
  figure.append(make('span', 'pm', ` ± ${expanded(a.U_mm_per_m, unit)} ${unit.label}`));
  box.append(figure, make('p', `verdict ${a.verdict}`, `${v.mark} ${v.text}`), make('p', 'words', leanWords(a, name, unit)));
  if (a.conformity_probability != null) box.append(make('p', 'chance', `Probability of conformity ${chance(a.conformity_probability)}`));
  return box;
}

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

const length = (x) => (x == null ? 'not seen' : `${mm(x, 4)} mm`);

function facts(run, r, unit) {
  const names = (run.setup?.indicators ?? []).map((i) => i.name);
  const offsets = r.offsets_mm?.length > 1
    ? r.offsets_mm.map((v, i) => `${names[i] ?? `indicator ${i + 1}`} ${v == null ? 'silent' : length(v)}`).join(', ') : length(r.offset_mm);
  const s = part('measured', 'As measured');
  s.append(pairs([
    ['Tolerance', run.tolerance || 'none given'],
    ['Closure, last reading less first', length(r.closure_mm)],
    ['Offset, reading at no lean', offsets],
    ['Pair, at no lean', r.pair ? `${r.pair.indicator} less ${r.pair.less} reads ${length(r.pair.zero_mm)} (u ${length(r.pair.u_mm)})` : null],
    ['Residual, rms about the fit', length(r.residual_rms_mm)],
    ['Form of the surface, peak to valley', length(r.form_pv_mm)],
    ['Circle seen', `${Math.round(r.coverage_deg)}°`],
    ['Readings', `${r.readings} fitted, ${r.rejected} left out, ${run.readings ?? '–'} stored${run.untagged ? `, ${run.untagged} without an angle` : ''}`],
    ['Coverage factor', significant(r.coverage_factor)],
    ['Degrees of freedom', r.dof == null ? 'many, or not known' : significant(r.dof)],
    ['Model', `${r.model}, version ${r.model_version}`],
  ]));
  return s;
}

const sources = { stations: 'stations, turned by hand', encoder: 'encoder', program: 'motion program', steady: 'steady turning, by time' };

function setup(run) {
  const s = part('as-set', 'Setup');
  const u = run.setup ?? {};
  s.append(pairs([
    ['Machine', u.machine || '–'],
    ['Swept surface', u.surface || null],
    ['Spindle angle from', sources[u.angle_source] ?? u.angle_source ?? '–'],
    ['Stations', u.stations_deg?.length ? u.stations_deg.map((d) => `${Number(d.toFixed(2))}°`).join(', ') : null],
    ...(u.indicators ?? []).map((i) => [`Indicator ${i.name}`, [
      `radius ${significant(i.radius_mm, 4)} mm (u ${i.radius_u_mm ? `${significant(i.radius_u_mm, 2)} mm` : 'not given'})`,
      `resolution ${i.resolution_mm} mm`,
      i.mpe_mm ? `permissible error ${i.mpe_mm} mm` : 'permissible error not given',
      i.phase_deg ? `at ${i.phase_deg}° from the arm’s zero` : '',
    ].filter(Boolean).join(', ')]),
  ]));
  return s;
}

function plot(r) {
  const s = part('rest', 'What the lean leaves over');
  s.append(make('div', 'rest-plot'), make('p', 'small rest-words', ''));
  if (r.form?.length) {
    s.append(tabled('harmonics', ['Form, high points', 'Amplitude', 'First high point at'],
      r.form.map((h) => [`${h.order} a turn`, `${(1000 * h.amplitude_mm).toFixed(2)} µm`, `${Number(wrapped(h.phase_deg).toFixed(1))}°`])));
  }
  return s;
}

function leftOut(run, r) {
  const s = part('left-out', 'Left out of the fit');
  const list = r.rejections ?? [];
  if (!list.length) {
    s.append(make('p', '', r.rejected ? `${r.rejected} readings; this model does not say which.` : 'Nothing.'));
    return s;
  }
  const names = run.setup?.indicators ?? [];
  s.append(tabled('rejections', ['Readings', 'Spindle angle', 'Time', 'Why'], list.slice(0, mostRows).map((x) => {
    const who = names.length > 1 ? `, ${names[x.indicator]?.name ?? `indicator ${x.indicator + 1}`}` : '';
    return [String(x.readings), where(x) + who, spanOf(x.from_s, x.to_s, 's', 1), reasons[x.code] ?? x.code];
  })));
  if (list.length > mostRows) s.append(make('p', 'small', `And ${list.length - mostRows} more places, in the JSON file.`));
  return s;
}

function where(x) {
  if (x.code === 'no_angle') return 'not known';
  if (Math.abs(x.to_deg - x.from_deg) >= 360) return 'all round';
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
