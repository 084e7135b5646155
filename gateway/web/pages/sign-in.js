// Signing in by a mailed link or by password; the list of one's own sessions.

import { get, post, remove } from './api.js';
import { act, field, fill, h, select, whenSubmitted } from './dom.js';
import { has, home } from './shell.js';
import { moment } from './words.js';

/** A path of this site only; anything else is the start page. */
function safe(then) {
  return then && /^\/(?![/\\])[\w\-/#?=&.%:]*$/.test(then) ? then : null;
}

async function enter(then) {
  const me = await get('/me');
  const target = safe(then) || home(me);
  location.assign(target);
  if (target.startsWith('/#')) location.reload();
}

export async function signIn(main, _, query) {
  const login = h('input', {
    name: 'login',
    required: true,
    autocomplete: 'username',
    autocapitalize: 'none',
    spellcheck: 'false',
  });
  const password = h('input', { name: 'password', type: 'password', autocomplete: 'current-password' });
  const secret = h('div', { hidden: true }, field('Password', password));
  const said = h('div');
  const toggle = h(
    'button',
    { type: 'button', class: 'quiet', 'aria-expanded': 'false' },
    'Use a password instead',
  );
  const go = h('button', { class: 'primary' }, 'Mail me a link');
  toggle.addEventListener('click', () => {
    const byPassword = secret.hidden;
    secret.hidden = !byPassword;
    password.required = byPassword;
    go.textContent = byPassword ? 'Sign in' : 'Mail me a link';
    toggle.textContent = byPassword ? 'Mail me a link instead' : 'Use a password instead';
    toggle.setAttribute('aria-expanded', String(byPassword));
    (byPassword ? password : login).focus();
  });
  const form = h(
    'form',
    { class: 'card' },
    field('Your sign-in name', login, 'as on the course list'),
    secret,
    h('div', { class: 'row' }, go, toggle),
    said,
  );
  whenSubmitted(form, async (values) => {
    if (secret.hidden) {
      await post('/sign-in/link', { login: values.login });
      fill(
        said,
        h(
          'div',
          { class: 'say good', role: 'status' },
          h('p', 'If this name is known, a mail with a link is on its way. The link works once.'),
        ),
      );
      return;
    }
    await post('/sign-in', { login: values.login, password: password.value });
    await enter(query.get('then'));
  });
  const { provider } = await get('/sign-in');
  document.querySelector('main').classList.add('narrow');
  fill(
    main,
    h('h1', 'Sign in'),
    provider && h('p', h('a', { class: 'button primary', href: '/sign-in/provider' }, provider)),
    provider && h('p', { class: 'soft' }, 'Or:'),
    form,
    h('p', { class: 'soft' }, 'At an instrument nobody signs in here: the bench page has today’s list.'),
  );
  login.focus();
  return () => document.querySelector('main').classList.remove('narrow');
}

/** A mailed link: one more tap, so that a mail program that looks at links does not use it up. */
export async function link(main, [token]) {
  fill(
    main,
    h('h1', 'Sign in'),
    h('p', 'This link signs you in once.'),
    h(
      'div',
      { class: 'row' },
      act(
        'Sign in',
        async () => {
          await post('/sign-in/token', { token });
          history.replaceState(null, '', '/');
          await enter(null);
        },
        { kind: 'primary' },
      ),
    ),
    h('p', { class: 'soft' }, h('a', { href: '#/sign-in' }, 'Ask for another link')),
  );
}

const MAIL = [
  ['course', 'As the course has it'],
  ['digest', 'One mail after class'],
  ['each', 'Each sheet at once'],
  ['link', 'Links only'],
  ['none', 'No mail: inbox only'],
];

/** How one's sheets are mailed; for those who get any. */
async function mailChoice(me) {
  if (!has(me, 'student', 'demonstrator', 'instructor')) return null;
  const { choice } = await get('/me/mail');
  const box = select('choice', MAIL, choice);
  const said = h('p', { class: 'soft', role: 'status' });
  box.addEventListener('change', async () => {
    try {
      await post('/me/mail', { choice: box.value });
      said.textContent = 'Saved.';
    } catch (problem) {
      said.textContent = problem.message;
    }
  });
  return [h('h2', 'Mail'), h('div', { class: 'row' }, field('How sheets come by mail', box)), said];
}

export const account = (me) => async (main) => {
  const { sessions = [] } = await get('/me/sessions');
  const mail = await mailChoice(me);
  const end = async (session) => {
    await remove(`/me/sessions/${session.key}`);
    if (!session.here) return account(me)(main);
    location.assign('/#/sign-in');
    location.reload();
  };
  fill(
    main,
    h('h1', me.person.name),
    mail,
    h('h2', 'Where you are signed in'),
    h(
      'ul',
      sessions.map((s) =>
        h(
          'li',
          s.here && h('strong', 'Here: '),
          'since ',
          moment(s.created_us),
          ', last used ',
          moment(s.used_us),
          ', ends ',
          moment(s.expires_us),
          '. ',
          act(s.here ? 'Sign out here' : 'Sign out there', () => end(s), { kind: 'quiet' }),
        ),
      ),
    ),
    h(
      'div',
      { class: 'row' },
      act(
        'Sign out everywhere',
        async () => {
          await remove('/me/sessions');
          location.assign('/#/sign-in');
          location.reload();
        },
        { kind: 'grave' },
      ),
    ),
  );
};
