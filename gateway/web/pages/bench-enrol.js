// Making this device the bench of an instrument, once, by a code from staff.

import { get, post } from './api.js';
import { field, fill, h, showProblem, whenSubmitted } from './dom.js';
import { has } from './shell.js';

const main = document.querySelector('main');

async function begin() {
  const me = await get('/me').catch(() => null);
  if (me?.bench?.instrument && !me.person) {
    location.replace(`/bench/${me.bench.instrument}`);
    return;
  }
  const form = h('form', { class: 'card' }, field('Code from staff', h('input', { name: 'code', required: true, autocomplete: 'off', autocapitalize: 'characters', spellcheck: 'false' })), h('div', { class: 'row' }, h('button', { class: 'primary' }, 'This device stands at the instrument')));
  whenSubmitted(form, async ({ code }) => {
    const { instrument } = await post('/bench/enrol', { code });
    location.assign(`/bench/${instrument?.id ?? instrument}`);
  });
  fill(main, h('h1', 'A new bench'), h('p', 'Only a device that staff have enrolled can sign people on. The code works once.'), form);
  if (!has(me, 'demonstrator', 'instructor', 'technician', 'administrator')) return;
  const { instruments } = await get('/fleet').catch(() => ({ instruments: [] }));
  main.append(h('h2', 'As staff you may open a bench page here'), h('ul', instruments.map((i) => h('li', h('a', { href: `/bench/${i.id}` }, `${i.name}, ${i.place}`)))));
}

begin().catch(showProblem);
