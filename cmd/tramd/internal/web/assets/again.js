// What can be worked out from a stored run once more: a fit by today's model, or the spindle apart from a plate turned by 180°.
import { make } from './dom.js';
import { part } from './findings.js';
import { allowed, reason, send } from './api.js';
import { t } from './t.js';
import { expanded, signed } from './units.js';

const figure = (a, unit) => (a ? `${signed(a.mm_per_m, unit, a.U_mm_per_m)} ± ${expanded(a.U_mm_per_m, unit)}` : '–');

// figures is a table of tilt and nod, a row for each named result.
function figures(rows, unit) {
  const table = make('table', 'again-figures');
  const head = make('tr');
  head.append(...['', `${t('axis.tilt')}, ${unit.label}`, `${t('axis.nod')}, ${unit.label}`].map((text) => {
    const th = make(text ? 'th' : 'td', '', text);
    if (text) th.scope = 'col';
    return th;
  }));
  table.append(head, ...rows.map(([name, axes]) => {
    const tr = make('tr');
    const th = make('th', '', name);
    th.scope = 'row';
    tr.append(th, make('td', '', figure(axes?.tilt, unit)), make('td', '', figure(axes?.nod, unit)));
    return tr;
  }));
  return table;
}

// again is the part of a run's view; redraw reads the run once more when a result was kept.
export function again(run, unit, redraw) {
  if (!run.outcome) return [];
  const s = part('again', t('again.title'));
  const row = make('div', 'row');
  const fit = button(t('again.fit'));
  fit.id = 'again-fit';
  const keep = button(t('again.keep'));
  keep.id = 'again-keep';
  keep.hidden = true;
  row.append(fit, keep);
  const out = make('div', 'again-out');
  out.setAttribute('role', 'status');
  const work = (b, run_) => b.addEventListener('click', async () => {
    b.disabled = true;
    out.replaceChildren(make('p', '', t('again.working')));
    try {
      await run_();
    } catch (e) {
      out.replaceChildren(...(e.cancelled ? [] : [make('p', '', reason(e))]));
    }
    b.disabled = false;
  });
  const path = `/api/v1/runs/${Number(run.id)}`;
  work(fit, async () => {
    await allowed();
    const r = await send('POST', `${path}/refit`, { keep: false });
    const name = (x) => `${x.model} ${x.model_version}`;
    out.replaceChildren(figures([[t('again.before', { model: r.before ? name(r.before) : t('found.none') }), r.before], [t('again.now', { model: name(r.now) }), r.now]], unit));
    keep.hidden = false;
  });
  work(keep, async () => {
    await allowed();
    await send('POST', `${path}/refit`, { keep: true });
    redraw();
  });
  s.append(row, out);
  if (run.kind === 'sweep' && run.result) s.append(plate(path, unit, work, out, keep));
  return [s];
}

function plate(path, unit, work, out, keep) {
  const form = make('form', 'row');
  const label = make('label', 'wide', `${t('again.turned')} `);
  const field = make('input');
  field.type = 'number';
  field.min = 1;
  field.required = true;
  field.id = 'again-turned';
  label.append(field);
  const b = button(t('again.separate'));
  b.id = 'again-separate';
  form.append(label, b);
  form.addEventListener('submit', (e) => { e.preventDefault(); b.click(); });
  work(b, async () => {
    if (!(Number(field.value) >= 1)) throw new Error(t('again.number'));
    const r = await send('GET', `${path}/separate?turned=${Math.floor(Number(field.value))}`);
    keep.hidden = true;
    out.replaceChildren(figures([[t('again.spindle'), r.spindle], [t('again.plate'), r.plate]], unit));
  });
  return form;
}

function button(text) {
  const b = make('button', '', text);
  b.type = 'button';
  return b;
}
