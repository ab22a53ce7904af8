// Requests to the daemon. A request that changes something asks for the password first.
import { byId, setText } from './dom.js';
import { change, state } from './state.js';
import { say } from './say.js';
import { t } from './t.js';

export async function send(method, path, body) {
  const answer = await fetch(path, {
    method,
    headers: body === undefined ? {} : { 'Content-Type': 'application/json' },
    body: body === undefined ? undefined : JSON.stringify(body),
  });
  const said = await answer.json().catch(() => ({}));
  if (answer.status === 401) whoami();
  if (!answer.ok) throw new Error(said.error || t('error.answered', { status: answer.status }));
  return said;
}

export async function whoami() {
  try {
    change({ may: { ...(await (await fetch('/api/v1/login')).json()), known: true } });
  } catch {
    // The stream says that the daemon is gone; ask again when it is back.
  }
}

export const reason = (e) => (e instanceof TypeError ? t('error.silent') : say(e.message));

// attempt does the work and writes what came of it into the element of that id.
export async function attempt(work, where = 'answer') {
  const out = byId(where);
  setText(out, '');
  try {
    setText(out, (await work()) ?? '');
  } catch (e) {
    setText(out, e.cancelled ? '' : reason(e));
  }
  change();
}

// on does work when it is asked to. What needs a login gets it first; what is cancelled there is not done.
export function on(id, kind, work, where) {
  byId(id).addEventListener(kind, (e) => {
    e.preventDefault();
    attempt(async () => {
      await allowed();
      return work();
    }, where);
  });
}

let asking = null; // { promise, resolve, reject } while the password box is open

// allowed resolves once a person is logged in. It asks for the password where needed.
export async function allowed() {
  if (!state.may.known) await whoami(); // a press may come before the page has its answer
  if (state.may.may_change) return;
  if (!state.may.password_set) throw new Error(t('why.nopassword'));
  if (!asking) {
    asking = {};
    asking.promise = new Promise((resolve, reject) => Object.assign(asking, { resolve, reject }));
    setText(byId('login-answer'), '');
    byId('password').value = '';
    byId('login').showModal();
  }
  return asking.promise;
}

// shut closes the password box and lets those that wait for it go on, or gives them up. It does not wait for the box's close event,
// which comes later: a button pressed in between must open the box again.
function shut() {
  const box = byId('login');
  if (box.open) box.close();
  const mine = asking;
  asking = null;
  if (state.may.may_change) mine?.resolve();
  else mine?.reject(Object.assign(new Error(t('why.login')), { cancelled: true }));
}

export function wireLogin() {
  byId('login-form').addEventListener('submit', (e) => {
    e.preventDefault();
    attempt(async () => {
      await send('POST', '/api/v1/login', { password: byId('password').value });
      byId('password').value = '';
      await whoami();
      shut();
    }, 'login-answer');
  });
  byId('login-cancel').addEventListener('click', shut);
  byId('login').addEventListener('close', () => { if (!byId('login').open) shut(); }); // by the Escape key
  on('login-open', 'click', () => t('login.done'), 'phone-words');
  byId('logout').addEventListener('click', () => attempt(async () => {
    await send('POST', '/api/v1/logout');
    await whoami();
    return t('logout.done');
  }, 'phone-words'));
  byId('login-open-air').classList.toggle('gone', location.protocol === 'https:');
  whoami();
}
