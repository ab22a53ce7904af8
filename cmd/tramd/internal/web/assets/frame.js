// What stands round every view: the machine's name, whether the figures are live, the unit, the notices, the figures in small, and the
// verdict in the tab's title.
import { byId, make, setClass, setText } from './dom.js';
import { change, idle, onPaint, remember, state } from './state.js';
import { expanded, inWords, signed, size, systems, unitFor } from './units.js';
import { verdicts } from './words.js';
import { bandOf, shown, spoken } from './figures.js';
import { troubles } from './devices.js';
import { many, t } from './t.js';

export const unitNow = () => unitFor(state.snap?.tolerance, state.unitKey);

function fillUnits() {
  const select = byId('unit');
  const all = systems(state.snap?.tolerance);
  const chosen = all[state.unitKey] ? state.unitKey : 'own';
  const key = Object.values(all).map((u) => u.label).join() + chosen;
  if (select.dataset.key === key) return;
  select.dataset.key = key;
  select.replaceChildren(...Object.entries(all).map(([value, u]) => {
    const option = make('option', '', u.label);
    option.value = value;
    option.selected = value === chosen;
    return option;
  }));
}

// deaf says that no indicator and no encoder is live: the page is, but there is nothing to read.
function deaf(snap) {
  const list = (snap?.devices ?? []).filter((d) => d.role !== 'machine');
  return list.length > 0 && !list.some((d) => ['live', 'settling', 'opening'].includes(d.state));
}

function newsWords() {
  const { news, snap } = state;
  if (news.stale) return news.ever ? t('news.old', { s: Math.floor(news.seconds) }) : t('news.none');
  if (!snap) return t('news.waiting');
  if (deaf(snap)) return t('news.deaf');
  return t({ idle: 'news.idle', waiting: 'news.ready', turning: 'news.turning', fitting: 'news.fitting', returning: 'news.moves', stopping: 'news.moves' }[snap.sweep.phase] ?? 'news.idle');
}

// The figures in small, in sight in every other view.
function strip(snap, unit) {
  const box = byId('strip');
  const result = snap && shown(snap).result;
  box.hidden = !snap || state.view === 'now' || (!result && idle());
  if (box.hidden) return;
  const [verdict, words] = bandOf(snap);
  setClass(box, `strip ${verdict}`);
  const lean = result?.lean?.azimuth_deg === null ? result.lean : null;
  const one = (name) => {
    const a = result?.[name];
    return `${t(`axis.${name}`)}\u00a0${a ? `${signed(a.mm_per_m, unit, a.U_mm_per_m)}\u00a0±\u00a0${expanded(a.U_mm_per_m, unit)}` : '–'}`;
  };
  setText(box, `${(verdicts[verdict] ?? verdicts.none).mark} ${idle() ? '' : `${words} · `}${lean ? t('lean.size', { size: `${size(lean.mm_per_m, unit, lean.U_mm_per_m)} ± ${expanded(lean.U_mm_per_m, unit)}` }) : `${one('tilt')} · ${one('nod')}`}`);
}

let shownNotices = '';

// The worst notice stands open, and so does each about a machine that may move. The rest fold into one line.
function notices() {
  const list = troubles(state).map(([kind, text]) => [kind, inWords(text, unitNow())]);
  const key = JSON.stringify(list);
  if (key === shownNotices) return;
  shownNotices = key;
  const p = ([kind, text]) => make('p', `notice ${kind}`, text);
  const open = list.filter(([kind], i) => kind === 'moves' || kind === 'old' || (i === 0 && kind === 'bad'));
  const rest = list.filter((x) => !open.includes(x));
  const box = byId('notices');
  const was = box.querySelector('details')?.open ?? false;
  box.replaceChildren(...open.map(p));
  if (!rest.length) return;
  const more = make('details', 'more');
  more.open = was;
  more.append(make('summary', '', rest.length === 1 ? rest[0][1] : many(open.length ? 'notice.more' : 'notice.some', rest.length)), ...rest.map(p));
  box.append(more);
}

function title() {
  const { snap, run } = state;
  if (!snap) return;
  const [verdict, words] = bandOf(snap);
  document.title = `${run ? `${t('runs.run')} ${run} · ` : ''}${(verdicts[verdict] ?? verdicts.none).mark} ${words} · ${snap.machine}`;
}

export function wireFrame() {
  const asked = new URL(location.href).searchParams.get('unit');
  if (asked) choose(asked);
  byId('unit').addEventListener('change', (e) => choose(e.target.value));
  onPaint(({ snap, news }) => {
    notices();
    document.body.className = news.stale ? 'stale' : news.ever ? 'fresh' : 'unheard';
    byId('news').classList.toggle('deaf', deaf(snap));
    setText(byId('news'), newsWords());
    fillUnits();
    if (!snap) return;
    setText(byId('machine'), snap.machine);
    strip(snap, unitNow());
    title();
  });
  // A listener hears a change about once a second at most, and nothing while nothing changes. In an old run only troubles are said.
  let said = '';
  setInterval(() => {
    const figures = state.snap && !state.news.stale && state.run === null ? [spoken(state.snap, unitNow())] : [];
    const text = [...troubles(state).map(([kind, words]) => (kind === 'old' ? t('notice.old') : inWords(words, unitNow()))), ...figures].join(' ');
    if (text === said) return;
    said = text;
    setText(byId('spoken'), text);
  }, 1000);
}

function choose(key) {
  remember('unit', key);
  change({ unitKey: key });
}
