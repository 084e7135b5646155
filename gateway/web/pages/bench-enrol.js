// Making this device the bench of an instrument, once, by a code from staff. The page's own form does
// it without script; this only shows what went wrong in place, and knows an enrolled device.

import { get, post } from './api.js';
import { h, showProblem, whenSubmitted } from './dom.js';
import { has } from './shell.js';

const main = document.querySelector('main');

whenSubmitted(main.querySelector('form'), async ({ code }) => {
  const { instrument } = await post('/bench/enrol', { code });
  location.assign(`/bench/${instrument.id}`);
});

async function begin() {
  const me = await get('/me');
  if (me.bench?.instrument && !me.person) {
    location.replace(`/bench/${me.bench.instrument}`);
    return;
  }
  if (!has(me, 'demonstrator', 'instructor', 'technician', 'administrator')) return;
  const { instruments } = await get('/fleet');
  main.append(
    h('h2', 'As staff you may open a bench page here'),
    h(
      'ul',
      instruments.map((i) => h('li', h('a', { href: `/bench/${i.id}` }, `${i.name}, ${i.place}`))),
    ),
  );
}

begin().catch(showProblem);
