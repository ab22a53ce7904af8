// What is asked of the daemon. Whatever changes something asks for the password first, and only then.
import { byId, setText } from './dom.js';
import { change, state } from './state.js';
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

export const reason = (e) => (e instanceof TypeError ? t('error.silent') : e.message);

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

let asking = null;

// allowed resolves once someone is logged in, and asks for the password if nobody is.
export async function allowed() {
  if (!state.may.known) await whoami(); // a press may come before the page has its answer
  if (state.may.may_change) return;
  if (!state.may.password_set) throw new Error(t('why.nopassword'));
  asking ??= new Promise((resolve, reject) => {
    const box = byId('login');
    setText(byId('login-answer'), '');
    byId('password').value = '';
    box.showModal();
    box.addEventListener('close', () => {
      asking = null;
      if (state.may.may_change) resolve();
      else reject(Object.assign(new Error(t('why.login')), { cancelled: true }));
    }, { once: true });
  });
  return asking;
}

export function wireLogin() {
  byId('login-form').addEventListener('submit', (e) => {
    e.preventDefault();
    attempt(async () => {
      await send('POST', '/api/v1/login', { password: byId('password').value });
      byId('password').value = '';
      await whoami();
      byId('login').close();
    }, 'login-answer');
  });
  byId('login-cancel').addEventListener('click', () => byId('login').close());
  on('login-open', 'click', () => t('login.done'), 'phone-words');
  byId('logout').addEventListener('click', () => attempt(async () => {
    await send('POST', '/api/v1/logout');
    await whoami();
    return t('logout.done');
  }, 'phone-words'));
  byId('login-open-air').classList.toggle('gone', location.protocol === 'https:');
  whoami();
}
