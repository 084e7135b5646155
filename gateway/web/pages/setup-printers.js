// Printers: adding, changing, taking away.

import { get, patch, post } from './api.js';
import { act, announce, field, fill, h, select, whenSubmitted } from './dom.js';
import { mark } from './words.js';

const PAPER = [
  ['a4', 'A4'],
  ['letter', 'Letter'],
];
const LANGUAGE = [
  ['pdf', 'PDF'],
  ['postscript', 'PostScript'],
  ['pcl', 'PCL'],
];

const fields = (p) =>
  h(
    'div',
    { class: 'fields' },
    field(
      'Name',
      h('input', { name: 'name', required: true, value: p.name || '', autocomplete: 'off' }),
      'as people call it',
    ),
    h(
      'div',
      { class: 'wide' },
      field(
        'Address',
        h('input', {
          name: 'uri',
          required: true,
          value: p.uri || '',
          autocomplete: 'off',
          spellcheck: 'false',
          placeholder: 'ipp://printer.example/ipp/print',
        }),
        'ipp:, ipps: or socket:',
      ),
    ),
    field(
      'Place',
      h('input', { name: 'place', required: true, value: p.place || '', autocomplete: 'off' }),
      'building/floor/room',
    ),
    field(
      'Where, for people',
      h('input', { name: 'where', value: p.where || '', autocomplete: 'off' }),
      '“by the door”',
    ),
    field('Paper', select('paper', PAPER, p.paper)),
    field('Language', select('language', LANGUAGE, p.language), 'for socket: only'),
  );

function card(p, load) {
  const form = h(
    'form',
    fields(p),
    h(
      'div',
      { class: 'row' },
      h('button', { class: 'primary' }, 'Save'),
      act(
        'Take away',
        async () => {
          await post(`/printers/${p.id}/remove`, { reason: 'Taken away in the set-up.' });
          await load();
        },
        { kind: 'grave' },
      ),
    ),
  );
  whenSubmitted(form, async (values) => {
    await patch(`/printers/${p.id}`, values);
    announce('Saved.');
    await load();
  });
  return h(
    'section',
    { class: 'card', 'aria-label': p.name },
    h('h2', p.name),
    h(
      'p',
      mark(
        p.state === 'ready' || p.state === 'printing' ? 'good' : 'unknown',
        (p.state_text || p.state || 'not seen yet').replace(/^is /, ''),
      ),
      ' ',
      h('span', { class: 'soft' }, [p.place, p.where].filter(Boolean).join(', ')),
    ),
    h('details', h('summary', 'Change'), form),
  );
}

export async function printers(main) {
  const load = async () => {
    const { printers: list } = await get('/printers');
    const form = h('form', fields({}), h('div', { class: 'row' }, h('button', { class: 'primary' }, 'Add')));
    whenSubmitted(form, async (values) => {
      await post('/printers', values);
      await load();
    });
    fill(
      main,
      h('h1', 'Printers'),
      list.map((p) => card(p, load)),
      h('details', { open: list.length === 0 }, h('summary', 'Add a printer'), form),
    );
  };
  await load();
}
