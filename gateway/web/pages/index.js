// The first page: signing in, and a student's inbox.

import { account, link, signIn } from './sign-in.js';
import { card } from './card.js';
import { claim, find, inbox } from './inbox.js';
import { frame, has, home, router } from './shell.js';
import { fill, h, showProblem } from './dom.js';
import { showSpectrum } from './spectrum.js';

const toSignIn = () => location.replace('#/sign-in?then=' + encodeURIComponent('/' + location.hash));

function start(me) {
  return () => {
    if (!me) location.replace('#/sign-in');
    else if (has(me, 'student')) location.replace('#/inbox');
    else location.replace(home(me));
  };
}

async function begin() {
  const me = await frame('inbox');
  const own = (page) => (me ? page : toSignIn);
  await router({
    '': start(me),
    'sign-in': signIn,
    'link/:token': link,
    inbox: own(inbox(me)),
    claim: own(claim),
    card: own(card),
    account: own(account(me)),
    'number/:accession': own(find),
    'spectrum/:id': own(async (main, [id]) => {
      const page = h('div');
      fill(main, h('p', h('a', { href: '#/inbox' }, '← All your spectra')), page);
      return showSpectrum(page, id, { own: true, topics: [`person:${me.person.id}`] });
    }),
  });
}

begin().catch(showProblem);
