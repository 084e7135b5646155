// The frame of every signed-in page: who is here, where one may go, and which page is shown.

import { get, post, Problem } from './api.js';
import { fill, h, showProblem, svg } from './dom.js';

// The part after '#' names a page, so the skip link moves the focus by itself.
document.querySelector('a.skip')?.addEventListener('click', (event) => {
  event.preventDefault();
  document.querySelector('main').focus();
});

export const has = (me, ...roles) => roles.some((role) => me?.roles?.includes(role));

const PLACES = [
  { href: '/#/inbox', text: 'Inbox', area: 'inbox', roles: ['student'] },
  {
    href: '/staff',
    text: 'Sections',
    area: 'staff',
    roles: ['demonstrator', 'instructor', 'marker', 'technician', 'administrator'],
  },
  {
    href: '/fleet',
    text: 'Instruments',
    area: 'fleet',
    roles: ['technician', 'administrator', 'instructor', 'demonstrator'],
  },
  { href: '/setup', text: 'Set-up', area: 'setup', roles: ['administrator'] },
  { href: '/ledger', text: 'Ledger', area: 'ledger', roles: ['administrator'] },
];

export const home = (me) => (PLACES.find((place) => has(me, ...place.roles)) || PLACES[0]).href;

export const brand = () =>
  h(
    'a',
    { class: 'brand', href: '/' },
    svg(
      'svg',
      {
        viewBox: '0 0 34 22',
        fill: 'none',
        stroke: 'currentColor',
        'stroke-width': 2.4,
        'aria-hidden': 'true',
      },
      svg('path', { d: 'M1 4h6c2 0 2 13 3.5 13S12 4 15 4s2.5 16 4 16 1.5-16 4-16h2c2 0 1.5 8 3 8s1-8 5-8' }),
    ),
    'Wavepost',
  );

async function signOut() {
  try {
    await post('/sign-out');
  } finally {
    location.href = '/#/sign-in';
    if (location.pathname === '/') location.reload();
  }
}

function head(me, area) {
  const nav = PLACES.filter((place) => has(me, ...place.roles));
  return h(
    'div',
    { class: 'bar-in' },
    brand(),
    h(
      'nav',
      { 'aria-label': 'Pages' },
      nav.map((place) =>
        h('a', { href: place.href, 'aria-current': place.area === area && 'page' }, place.text),
      ),
    ),
    me?.person &&
      h(
        'div',
        { class: 'who' },
        h('a', { class: 'name', href: '/#/account' }, me.person.name),
        h('button', { class: 'quiet', type: 'button', onclick: signOut }, 'Sign out'),
      ),
  );
}

/** Draws the head; returns who is signed in, or null. */
export async function frame(area) {
  let me = null;
  try {
    me = await get('/me');
  } catch (problem) {
    if (!(problem instanceof Problem && problem.status === 401)) throw problem;
  }
  const bar = document.querySelector('header.bar');
  fill(bar, head(me?.person ? me : null, area));
  bringIn(bar);
  return me?.person ? me : null;
}

/** As frame, for pages that need somebody; others go to sign in and come back. */
export async function frameFor(area, ...roles) {
  const main = document.querySelector('main');
  try {
    const me = await frame(area);
    if (!me) {
      location.replace('/#/sign-in?then=' + encodeURIComponent(location.pathname + location.hash));
      return null;
    }
    if (has(me, ...roles)) return me;
    fill(
      main,
      h('h1', 'Not for you'),
      h('p', 'This page belongs to another role. '),
      h('p', h('a', { href: home(me) }, 'To your own page')),
    );
  } catch (problem) {
    fill(main);
    showProblem(problem);
  }
  return null;
}

/* On a phone a row of links is wider than the screen: the one that is open is in view. */
function bringIn(place) {
  for (const link of place.querySelectorAll('nav a[aria-current]'))
    link.parentElement.scrollLeft = link.offsetLeft - (link.parentElement.clientWidth - link.offsetWidth) / 2;
}

/**
 * Pages by the part of the address after '#'. `table`: {'': f, 'grid/:id': f}; a page is
 * f(main, parameters, query) and may return a function that ends it.
 */
export function router(table, tabs) {
  const main = document.querySelector('main');
  let end = null;
  let turn = 0;
  const show = async () => {
    const mine = ++turn;
    end?.();
    end = null;
    const [path, search] = location.hash.replace(/^#\/?/, '').split('?');
    const parts = path.split('/').filter(Boolean).map(decodeURIComponent);
    const row = Object.entries(table).find(([pattern]) => {
      const wanted = pattern.split('/').filter(Boolean);
      return (
        wanted.length === parts.length && wanted.every((part, i) => part[0] === ':' || part === parts[i])
      );
    });
    const body = h('div');
    fill(main, tabs && tabs(parts), body);
    bringIn(main);
    if (!row) {
      fill(
        body,
        h('h1', 'Nothing here'),
        h('p', 'This address leads nowhere. ', h('a', { href: '#/' }, 'To the start')),
      );
      return;
    }
    const parameters = parts.filter((_, i) => row[0].split('/').filter(Boolean)[i][0] === ':');
    try {
      const ended = await row[1](body, parameters, new URLSearchParams(search || ''));
      if (mine === turn) end = ended || null;
      else ended?.();
      document.title = `${body.querySelector('h1')?.textContent || 'Wavepost'} · Wavepost`;
    } catch (problem) {
      if (problem instanceof Problem && problem.status === 401)
        location.assign('/#/sign-in?then=' + encodeURIComponent(location.pathname + location.hash));
      else showProblem(problem);
    }
  };
  addEventListener('hashchange', () => {
    show().then(() => main.focus({ preventScroll: true }));
    scrollTo(0, 0);
  });
  return show();
}

export const tabBar = (list) => (parts) =>
  h(
    'nav',
    { class: 'tabs', 'aria-label': 'Parts of this page' },
    list
      .filter(Boolean)
      .map(([key, text]) =>
        h('a', { href: `#/${key}`, 'aria-current': (parts[0] || '') === key && 'page' }, text),
      ),
  );
