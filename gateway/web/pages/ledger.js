// The ledger: who did what, chained by digests. It holds ids, never names.

import { get, query } from './api.js';
import { act, fill, h, showProblem } from './dom.js';
import { frameFor, router } from './shell.js';
import { mark, moment, plural } from './words.js';

const ACTORS = ['system', 'person', 'agent', 'bench', 'command'];
const actor = (e) =>
  [typeof e.actor === 'number' ? ACTORS[e.actor] || e.actor : e.actor, e.actor_id || ''].join(' ').trim();

async function ledger(main) {
  let entries = [];
  const verdict = h('div', { class: 'row' });
  const body = h('div');
  const more = h(
    'button',
    { type: 'button', onclick: () => load(entries[entries.length - 1]?.number).catch(showProblem) },
    'Older entries',
  );
  const load = async (before) => {
    const answer = await get('/ledger' + query({ before }));
    entries = before ? [...entries, ...answer.entries] : answer.entries;
    more.hidden = answer.entries.length < 100;
    fill(
      body,
      h(
        'div',
        { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Entries' },
        h(
          'table',
          h(
            'thead',
            h(
              'tr',
              ['Number', 'When', 'Who', 'Did', 'To what', 'Digest'].map((t) => h('th', { scope: 'col' }, t)),
            ),
          ),
          h(
            'tbody',
            entries.map((e) =>
              h(
                'tr',
                h('td', { class: 'number' }, e.number),
                h('td', moment(e.at_us)),
                h('td', actor(e)),
                h('td', e.verb),
                h('td', e.subject),
                h('td', h('code', { title: e.hash }, e.hash?.slice(0, 12))),
              ),
            ),
          ),
        ),
      ),
    );
  };
  const check = act('Check the chain', async () => {
    const answer = await get('/ledger?check=true');
    fill(
      verdict,
      check,
      h(
        'span',
        { role: 'status' },
        answer.sound
          ? mark('good', `Sound: ${plural(answer.checked, 'entry', 'entries')} checked`)
          : mark('bad', answer.fault || 'Broken'),
      ),
    );
  });
  fill(verdict, check);
  fill(
    main,
    h('h1', 'Ledger'),
    h(
      'p',
      { class: 'soft' },
      'Every sign-in, stamp, claim, view by staff, export and change of settings. Entries name people by number only.',
    ),
    verdict,
    body,
    h('div', { class: 'row' }, more),
  );
  await load();
}

async function begin() {
  if (await frameFor('ledger', 'administrator')) await router({ '': ledger });
}

begin().catch(showProblem);
