// What can be made of a stored run once more: fitted by today's model, or set against a sweep on the same plate turned by 180°.
import { make } from './dom.js';
import { part } from './findings.js';
import { mayChange, send } from './steer.js';
import { expanded, signed } from './units.js';

const figure = (a, unit) => (a ? `${signed(a.mm_per_m, unit, a.U_mm_per_m)} ± ${expanded(a.U_mm_per_m, unit)}` : '–');

// figures is a table of tilt and nod, a row for each of what is named.
function figures(rows, unit) {
  const table = make('table', 'anew-figures');
  const head = make('tr');
  head.append(...['', `Tilt, ${unit.label}`, `Nod, ${unit.label}`].map((text) => {
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

// anew is the part of a run's page; redraw reads the run again when a result was kept.
export function anew(run, unit, redraw) {
  if (!run.outcome) return [];
  const s = part('anew', 'Once more');
  const row = make('div', 'row');
  const fit = button('Fit it anew');
  fit.id = 'anew-fit';
  const keep = button('Keep that beside the old result');
  keep.id = 'anew-keep';
  keep.hidden = true;
  row.append(fit, keep);
  const out = make('div', 'anew-out');
  out.setAttribute('role', 'status');
  const work = (b, run_) => b.addEventListener('click', async () => {
    b.disabled = true;
    out.replaceChildren(make('p', '', 'Working it out…'));
    try {
      await run_();
    } catch (e) {
      out.replaceChildren(make('p', '', e instanceof TypeError ? 'The daemon does not answer.' : `${e.message}.`));
    }
    b.disabled = false;
  });
  const path = `/api/v1/runs/${Number(run.id)}`;
  work(fit, async () => {
    if (!mayChange()) throw new Error('Log in on the first page to fit a run anew');
    const r = await send('POST', `${path}/refit`, { keep: false });
    const name = (x) => `${x.model} ${x.model_version}`;
    out.replaceChildren(figures([[`Before, ${r.before ? name(r.before) : 'no result'}`, r.before], [`Now, ${name(r.now)}`, r.now]], unit));
    keep.hidden = false;
  });
  work(keep, async () => {
    await send('POST', `${path}/refit`, { keep: true });
    redraw();
  });
  s.append(row, out);
  if (run.kind === 'sweep' && run.result) s.append(plate(path, unit, work, out, keep));
  return [s];
}

function plate(path, unit, work, out, keep) {
  const form = make('form', 'row');
  const label = make('label', 'wide', 'Sweep after a loose plate was turned by 180°, run ');
  const field = make('input');
  field.type = 'number';
  field.min = 1;
  field.required = true;
  field.id = 'anew-turned';
  label.append(field);
  const b = button('Tell spindle from plate');
  b.id = 'anew-separate';
  form.append(label, b);
  form.addEventListener('submit', (e) => { e.preventDefault(); b.click(); });
  work(b, async () => {
    if (!(Number(field.value) >= 1)) throw new Error('Write the number of that sweep');
    const r = await send('GET', `${path}/separate?turned=${Math.floor(Number(field.value))}`);
    keep.hidden = true;
    out.replaceChildren(figures([['Spindle against the machine', r.spindle], ['Plate, + rises that way', r.plate]], unit));
  });
  return form;
}

function button(text) {
  const b = make('button', '', text);
  b.type = 'button';
  return b;
}
