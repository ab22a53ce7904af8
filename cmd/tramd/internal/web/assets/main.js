// Wires the page together: what the daemon sends goes into the state, and each part draws from there.
import { change, state } from './state.js';
import { Stream } from './stream.js';
import { wireFrame } from './frame.js';
import { wireRouter } from './router.js';
import { wireLogin, whoami } from './api.js';
import { wireNow } from './now.js';
import { wirePlaces } from './places.js';
import { wireSteer } from './steer.js';
import { hear, wireAids } from './aids.js';
import { loadAdvice, wireJob } from './job.js';
import { renewSteps, wireSteps } from './steps.js';
import { wireTarget } from './target.js';
import { wireZero } from './zero.js';
import { wireBeam } from './beam.js';
import { loadHistory, wireHistory } from './history.js';
import { wirePlanned } from './planned.js';
import { loadRuns, wireRuns } from './runs.js';
import { readAgain, wireDetail } from './detail.js';
import { wireDevices } from './devices.js';
import { wireMachine } from './machine.js';

let key = '';

function renew() {
  loadRuns();
  loadHistory();
  loadAdvice();
  renewSteps();
  readAgain();
}

// The last sweep's curve is what the now view shows between sweeps.
async function loadLast(run) {
  if (state.lastCurve?.run === run) return;
  try {
    const answer = await fetch(`/api/v1/runs/${run}/curve`);
    if (answer.ok) change({ lastCurve: await answer.json() });
  } catch {
    // The drawing stays empty and says so; the next sweep brings another.
  }
}

for (const wire of [wireFrame, wireLogin, wireNow, wirePlaces, wireSteer, wireAids, wireJob, wireSteps, wireTarget, wireZero, wireBeam, wireHistory, wirePlanned, wireRuns, wireDetail, wireDevices, wireMachine, wireRouter]) wire();
renew();
new Stream({
  state(snap) {
    state.heard = performance.now();
    hear(snap);
    const now = `${snap.last?.run}/${snap.sweep.phase}/${snap.sweep.run}/${snap.next_check}/${(snap.drift?.alarms ?? []).map((a) => a.kind + a.since)}`;
    if (key && now !== key) renew();
    key = now;
    if (snap.sweep.phase === 'idle' && snap.last) loadLast(snap.last.run);
    change({ snap });
  },
  curve: (curve) => change({ curve }),
  age(news) {
    const was = state.news;
    if (was.stale && !news.stale) {
      renew();
      whoami();
    }
    if (was.stale === news.stale && was.ever === news.ever && !news.stale) return;
    change({ news });
  },
});
