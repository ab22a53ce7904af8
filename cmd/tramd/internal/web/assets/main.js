// Wires the page together: news comes in by the stream, and is drawn once a frame however fast it comes.
import { byId, setText, make } from './dom.js';
import { Stream } from './stream.js';
import { systems } from './units.js';
import { figures, spoken } from './figures.js';
import { plan } from './plan.js';
import { ring } from './ring.js';
import { curve, watch } from './curve.js';
import { devices, notices, spokenTroubles } from './devices.js';
import { loadRuns, runsUnit } from './runs.js';
import { adviceUnit, loadAdvice, wireJob } from './job.js';
import { targetState, wireTarget } from './target.js';
import { wireZero, zeroState } from './zero.js';
import { historyUnit, loadHistory, wireHistory } from './history.js';
import { planned } from './planned.js';
import { steer, wire } from './steer.js';
import { beam, wireBeam } from './beam.js';
import { hear, wireAids } from './aids.js';
import { again, detailUnit, openRun, wireDetail } from './detail.js';

let state = null;
let news = { seconds: 0, stale: false, ever: false };
let waiting = false;
let unitKey = remembered() ?? 'mm_per_m';
let runsKey = '';

function remembered() {
  try { return localStorage.getItem('unit'); } catch { return null; }
}

function remember(key) {
  try { localStorage.setItem('unit', key); } catch { /* a private window forgets */ }
}

const unitNow = () => {
  const all = systems(state?.tolerance);
  return all[unitKey] ?? all.mm_per_m;
};

function fillUnits() {
  const select = byId('unit');
  const all = systems(state?.tolerance);
  const key = Object.values(all).map((u) => u.label).join();
  if (select.dataset.key === key) return;
  select.dataset.key = key;
  select.replaceChildren(...Object.entries(all).map(([value, u]) => {
    const option = make('option', '', u.label);
    option.value = value;
    option.selected = value === unitKey;
    return option;
  }));
}

// Who asks for less motion sees two pictures a second instead of fifteen.
const calm = matchMedia('(prefers-reduced-motion: reduce)');

function later() {
  if (waiting) return;
  waiting = true;
  const draw = () => {
    waiting = false;
    show();
  };
  if (calm.matches) setTimeout(draw, 500);
  else requestAnimationFrame(draw);
}

function show() {
  notices(state, news);
  document.body.className = news.stale ? 'stale' : news.ever ? 'fresh' : 'unheard';
  if (!state) return;
  const unit = unitNow();
  fillUnits();
  setText(byId('machine'), state.machine);
  document.title = `${openRun() === null ? '' : `Run ${openRun()} · `}${state.machine} · tramd`;
  setText(byId('say'), state.sweep.say || (state.sweep.phase === 'idle' ? 'No sweep in hand.' : '…'));
  figures(state, unit);
  plan(state, unit);
  ring(state);
  devices(state);
  planned(state);
  runsUnit(unit);
  historyUnit(unit);
  adviceUnit(unit);
  detailUnit(unit);
  steer(state, news.stale);
  targetState(state, news.stale);
  zeroState(state);
  beam(state, unit, news.stale);
}

const phases = { idle: 'no sweep', waiting: 'waiting', turning: 'sweeping', fitting: 'fitting' };

function newsWords() {
  if (news.stale) return news.ever ? `no news for ${Math.floor(news.seconds)} s` : 'no news yet';
  if (!state) return 'waiting for the first news';
  return `live · ${phases[state.sweep.phase] ?? state.sweep.phase}`;
}

// A listener hears a change about once a second at most, and nothing while nothing changes. Who reads an old run hears
// troubles only.
let said = '';
setInterval(() => {
  const figures = state && !news.stale && openRun() === null ? [spoken(state, unitNow())] : [];
  const text = [...spokenTroubles(state, news), ...figures].join(' ');
  if (text === said) return;
  said = text;
  setText(byId('spoken'), text);
}, 1000);

byId('unit').addEventListener('change', (e) => {
  unitKey = e.target.value;
  remember(unitKey);
  later();
});

function renew() {
  loadRuns();
  loadHistory();
  loadAdvice();
  again();
}

fillUnits();
detailUnit(unitNow());
wire();
wireAids();
wireJob();
wireTarget();
wireZero();
wireBeam();
wireDetail();
watch();
wireHistory();
loadRuns();
loadHistory();
loadAdvice();
new Stream({
  state(next) {
    state = next;
    hear(next);
    const key = `${next.last?.run}/${next.sweep.phase}/${next.sweep.run}/${next.next_check}/${(next.drift?.alarms ?? []).map((a) => a.kind + a.since)}`;
    if (runsKey && key !== runsKey) renew();
    runsKey = key;
    later();
  },
  curve,
  age(next) {
    if (news.stale && !next.stale) renew();
    news = next;
    setText(byId('news'), newsWords());
    later();
  },
});
