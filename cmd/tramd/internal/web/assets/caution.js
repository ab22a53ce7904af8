// The cautions in full, before the first start of a job; one line of them stays beside the button afterwards. A shift later, or with
// the next job, they are shown in full once more.
import { byId } from './dom.js';
import { remember, remembered, state } from './state.js';

const shiftMS = 12 * 3600 * 1000;

// job names the job in hand by its first run; a sweep that only checks belongs to none.
const job = () => String(state.advice?.job?.[0]?.run ?? 'none');

function read() {
  const [at, run] = (remembered('cautions') ?? '').split('/');
  return Date.now() - Number(at) < shiftMS && run === job();
}

export function acknowledged() {
  if (read()) return Promise.resolve();
  return new Promise((resolve, reject) => {
    const box = byId('caution');
    let ok = false;
    box.showModal();
    const yes = () => { ok = true; box.close(); };
    const no = () => box.close();
    byId('caution-ok').addEventListener('click', yes);
    byId('caution-no').addEventListener('click', no);
    box.addEventListener('close', () => {
      byId('caution-ok').removeEventListener('click', yes);
      byId('caution-no').removeEventListener('click', no);
      if (!ok) return reject(Object.assign(new Error(''), { cancelled: true }));
      remember('cautions', `${Date.now()}/${job()}`);
      resolve();
    }, { once: true });
  });
}

// begun carries the acknowledgement over to the job that a first sweep has begun.
export function carried(before, after) {
  if (before === 'none' && after !== 'none' && (remembered('cautions') ?? '').endsWith('/none')) {
    remember('cautions', `${remembered('cautions').split('/')[0]}/${after}`);
  }
}
export const jobNow = job;
