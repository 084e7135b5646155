// Deliveries: each sheet on its way, and the decisions that only a person can take.

import { get, post, query } from './api.js';
import { act, fill, h, later, select } from './dom.js';
import { follow } from './events.js';
import { deliveryKind, deliveryState, moment } from './words.js';

const FILTERS = [
  ['', 'All'],
  ['uncertain', 'Not certain'],
  ['asking', 'Asking'],
  ['failed', 'Failed'],
  ['waiting', 'Waiting'],
  ['printing', 'Printing'],
  ['done', 'Done'],
  ['inbox', 'Inbox only'],
  ['cancelled', 'Taken back'],
];

/* By state: [verb, body, text]. */
const DEEDS = {
  uncertain: [
    ['resolve', { found: 'printed' }, 'It was printed'],
    ['resolve', { found: 'not printed' }, 'Not printed: send again'],
  ],
  asking: [
    ['answer', { answer: 'print' }, 'Print there'],
    ['answer', { answer: 'inbox' }, 'Inbox only'],
  ],
  failed: [['retry', {}, 'Try again']],
  inbox: [['retry', {}, 'Print after all']],
  cancelled: [['retry', {}, 'Send after all']],
  waiting: [['cancel', {}, 'Take back']],
  sending: [['cancel', {}, 'Take back']],
  printing: [['cancel', {}, 'Take back']],
};

/* A mail that is being sent cannot be had back; what is asked for already is not asked for twice. */
const deeds = (d) =>
  d.taking_back > 0 || (d.kind === 'mail' && d.state === 'sending') ? [] : DEEDS[d.state] || [];

export async function deliveries(main) {
  let list = [];
  const { printers } = await get('/printers');
  const state = select('state', FILTERS, '', { 'aria-label': 'State' });
  const body = h('div');
  const older = h('button', { type: 'button', onclick: () => load(list[list.length - 1]?.id) }, 'Older ones');
  const redirect = (d) => {
    if (!['waiting', 'asking', 'failed'].includes(d.state) || d.kind === 'mail' || printers.length < 2)
      return null;
    const to = select(
      'printer',
      [['', 'To another printer…'], ...printers.filter((p) => p.id !== d.printer).map((p) => [p.id, p.name])],
      '',
      { 'aria-label': `Another printer for delivery ${d.id}` },
    );
    to.addEventListener('change', async () => {
      await post(`/deliveries/${d.id}/redirect`, { printer: Number(to.value) });
      await load();
    });
    return to;
  };
  // Fetched when it is opened; the list itself stays short.
  const way = (d) => {
    const steps = h('ol', { class: 'plain' });
    const box = h('details', h('summary', d.reason), steps);
    box.addEventListener('toggle', async () => {
      if (!box.open || steps.children.length > 0) return;
      const { events } = await get(`/deliveries/${d.id}`);
      fill(
        steps,
        events.map((e) => h('li', moment(e.at_us), ' ', deliveryState({ ...d, ...e }), ' ', e.reason)),
      );
    });
    return box;
  };
  const line = (d) =>
    h(
      'tr',
      h('td', moment(d.created_us)),
      h('td', deliveryKind(d)),
      h('td', deliveryState(d), ' ', h('small', moment(d.changed_us))),
      h('td', way(d)),
      h('td', d.printer_name ? `${d.printer_name}${d.printer_where ? `, ${d.printer_where}` : ''}` : ''),
      h(
        'td',
        h('a', { href: `/staff#/spectrum/${d.measurement}` }, d.accession || 'Spectrum'),
        d.sample && [h('br'), h('small', d.sample)],
      ),
      h(
        'td',
        h(
          'div',
          { class: 'row' },
          d.taking_back > 0 && h('small', 'The printer is asked to give it back.'),
          deeds(d).map(([verb, what, text]) =>
            act(text, async () => {
              await post(`/deliveries/${d.id}/${verb}`, what);
              await load();
            }),
          ),
          redirect(d),
        ),
      ),
    );
  const draw = () =>
    fill(
      body,
      list.length === 0
        ? h('p', { class: 'nothing' }, 'None.')
        : h(
            'div',
            { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Deliveries' },
            h(
              'table',
              h(
                'thead',
                h(
                  'tr',
                  ['Asked', 'By', 'State', 'Reason', 'Printer', 'Of', 'Do'].map((t) =>
                    h('th', { scope: 'col' }, t),
                  ),
                ),
              ),
              h('tbody', list.map(line)),
            ),
          ),
    );
  const load = async (before) => {
    const answer = await get('/deliveries' + query({ state: state.value, before }));
    list = before ? [...list, ...answer.deliveries] : answer.deliveries;
    older.hidden = answer.deliveries.length < 100;
    draw();
  };
  state.addEventListener('change', () => load());
  fill(
    main,
    h('h1', 'Deliveries'),
    h('div', { class: 'row' }, h('div', state)),
    body,
    h('div', { class: 'row' }, older),
  );
  await load();
  return follow(
    ['fleet'],
    later(500, () => load()),
  );
}
