// The address says what is shown: /, /adjust, /history, /runs, /runs/12, /machine. Back and forward work, and an address can be sent.
import { byId } from './dom.js';
import { change, state } from './state.js';

const views = ['now', 'adjust', 'history', 'runs', 'machine'];
const places = new Map(); // where each view was scrolled to
const arrivals = [];

export const onArrive = (f) => arrivals.push(f);

// place reads an address: the view, the run that is open, and what was asked for in the query.
export function place(url) {
  const old = /^#run-([1-9]\d{0,15})$/.exec(url.hash); // as older links have it
  if (old) return { view: 'runs', run: Number(old[1]), query: url.searchParams };
  const m = /^\/runs\/([1-9]\d{0,15})$/.exec(url.pathname);
  if (m) return { view: 'runs', run: Number(m[1]), query: url.searchParams };
  const name = url.pathname.slice(1) || 'now';
  return { view: views.includes(name) ? name : 'now', run: null, query: url.searchParams };
}

export const addressOf = (view, run = null) => (run ? `/runs/${run}` : view === 'now' ? '/' : `/${view}`);

const keyOf = (at) => (at.run ? 'detail' : at.view);

function arrive(at, { focus = true, scroll = 0 } = {}) {
  const from = { view: state.view, run: state.run };
  change({ view: at.view, run: at.run });
  document.body.dataset.view = at.view;
  for (const view of views) {
    byId(`v-${view}`).hidden = view !== at.view;
    const link = document.querySelector(`.views [data-to="${view}"]`);
    if (view === at.view) link.setAttribute('aria-current', 'page');
    else link.removeAttribute('aria-current');
  }
  byId('list').hidden = at.run !== null;
  byId('detail').hidden = at.run === null;
  for (const f of arrivals) f(at, from);
  scrollTo(0, scroll);
  if (!focus) return;
  const back = from.run !== null && at.view === 'runs' && at.run === null ? document.querySelector(`#runs a[href="/runs/${from.run}"]`) : null;
  (back ?? byId(at.run ? 'detail-title' : { now: 'band', adjust: 'adjust-title', history: 'history-title', runs: 'runs-title', machine: 'machine-title' }[at.view])).focus({ preventScroll: true });
}

// go shows an address of this page and adds it to the browser's history.
export function go(path) {
  const url = new URL(path, location.href);
  if (url.href === location.href) return;
  places.set(keyOf(place(new URL(location.href))), scrollY);
  history.pushState({ from: location.pathname }, '', url);
  arrive(place(url));
}

// up leaves an open run for the list: back to it where it was come from, else to its address.
export function up() {
  if (history.state?.from === '/runs') history.back();
  else {
    history.replaceState(null, '', '/runs');
    arrive(place(new URL(location.href)), { scroll: places.get('runs') ?? 0 });
  }
}

export function wireRouter() {
  history.scrollRestoration = 'manual';
  document.addEventListener('click', (e) => {
    if (e.defaultPrevented || e.button !== 0 || e.metaKey || e.ctrlKey || e.shiftKey) return;
    const a = e.target.closest('a[href]');
    if (!a || a.target || a.origin !== location.origin) return;
    const url = new URL(a.href);
    const known = url.pathname === '/' || /^\/(adjust|history|runs|machine)$/.test(url.pathname) || /^\/runs\/\d+$/.test(url.pathname);
    if (!known) return;
    e.preventDefault();
    go(url);
  });
  addEventListener('popstate', () => {
    const at = place(new URL(location.href));
    arrive(at, { scroll: places.get(keyOf(at)) ?? 0 });
  });
  addEventListener('hashchange', () => {
    const at = place(new URL(location.href));
    if (at.run !== null && at.run !== state.run) arrive(at);
  });
  addEventListener('keydown', (e) => {
    if (e.key === 'Escape' && !e.defaultPrevented && state.run !== null && e.target.tagName !== 'SELECT' && !document.querySelector('dialog[open]')) up();
  });
  const at = place(new URL(location.href));
  if (location.hash) history.replaceState(null, '', addressOf(at.view, at.run) + location.search);
  arrive(at, { focus: at.run !== null });
}
