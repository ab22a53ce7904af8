// The ring about the drawing of the table: which sectors of 5 degrees or which stations have been seen, and where the arm
// points now.
import { byId, draw, set, setText } from './dom.js';
import { missingArcs } from './words.js';
import { many, t } from './t.js';

const mid = 220;
const inner = 156;
const outer = 170;

const at = (deg, r) => {
  const a = (deg * Math.PI) / 180;
  return `${(mid + r * Math.cos(a)).toFixed(2)} ${(mid - r * Math.sin(a)).toFixed(2)}`;
};

const sectors = [];
let arm;
let stations;
let stationKey = '';

function build(ring) {
  const n = 72;
  for (let i = 0; i < n; i++) {
    const a = (i * 360) / n + 0.5;
    const b = ((i + 1) * 360) / n - 0.5;
    sectors.push(draw('path', {
      d: `M${at(a, inner)}A${inner} ${inner} 0 0 0 ${at(b, inner)}L${at(b, outer)}A${outer} ${outer} 0 0 1 ${at(a, outer)}Z`,
    }));
  }
  stations = draw('g', { class: 'stations' });
  arm = draw('path', { class: 'arm' });
  ring.replaceChildren(...sectors, stations, arm);
}

export function ring(snap) {
  const box = byId('ring');
  if (!box) return;
  if (!arm) build(box);
  const s = snap.sweep;
  const busy = s.phase !== 'idle';
  const list = busy ? s.stations ?? [] : [];
  const byStation = list.length > 0;
  for (let i = 0; i < sectors.length; i++) {
    const seen = busy && s.sectors?.[i] === '1' && !byStation;
    set(sectors[i], { class: seen ? 'sector seen' : busy && !byStation ? 'sector unseen' : 'sector idle' });
  }
  drawStations(list);
  arm.classList.toggle('gone', snap.angle.deg == null);
  if (snap.angle.deg != null) {
    const d = snap.angle.deg;
    set(arm, { d: `M${at(d, outer + 4)}L${at(d, inner - 2)}L${at(d - 2.8, inner - 15)}L${at(d + 2.8, inner - 15)}L${at(d, inner - 2)}Z` });
  }
  setText(byId('missing'), missing(s, list, busy));
}

function drawStations(list) {
  const key = JSON.stringify(list.map((x) => [x.deg, x.state]));
  if (key === stationKey) return;
  stationKey = key;
  stations.replaceChildren(...list.map((x) => {
    const [cx, cy] = at(x.deg, (inner + outer) / 2).split(' ');
    return draw('circle', { cx, cy, r: x.state === 'here' ? 13 : 9, class: `station ${x.state}` });
  }));
}

function missing(s, list, busy) {
  if (!busy) return '';
  if (list.length) {
    const todo = list.filter((x) => x.state === 'ahead' || x.state === 'here').map((x) => `${Number(x.deg.toFixed(1))}°`);
    return todo.length ? t('missing.stations', { list: todo.join(', ') }) : t('missing.nostation');
  }
  const arcs = missingArcs(s.sectors ?? '');
  if (!arcs.length) return t('missing.none');
  const some = arcs.slice(0, 4).join(', ');
  return t('missing.arcs', { list: arcs.length > 4 ? `${some} ${many('missing.more', arcs.length - 4)}` : some });
}
