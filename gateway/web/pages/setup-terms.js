// Terms: their days, and days on which none of their sections meets.

import { get, post, remove } from './api.js';
import { act, announce, field, fill, h, whenSubmitted } from './dom.js';
import { plural } from './words.js';

const input = (name, rest = {}) => h('input', { name, autocomplete: 'off', ...rest });

function termForm(t, done) {
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field(
          'Code',
          input('code', { required: true, value: t.code || '', readonly: Boolean(t.id) }),
          'such as 26F',
        ),
        field('Title', input('title', { value: t.title || '' })),
        field('First day', input('first', { type: 'date', required: true, value: t.first || '' })),
        field('Last day', input('last', { type: 'date', required: true, value: t.last || '' })),
      ),
      h('div', { class: 'row' }, h('button', { class: 'primary' }, t.id ? 'Save' : 'Add')),
    ),
    async (values) => {
      await post('/terms', { ...values, change: Boolean(t.id) });
      announce('Saved.');
      await done();
    },
  );
}

function holidayForm(t) {
  const said = h('p', { class: 'soft', role: 'status' });
  return whenSubmitted(
    h(
      'form',
      h('div', { class: 'fields' }, field('Day', input('day', { type: 'date', required: true }))),
      h(
        'div',
        { class: 'row' },
        h('button', { name: 'how', value: 'out' }, 'No class on this day'),
        h('button', { name: 'how', value: 'undo', class: 'quiet' }, 'As usual again'),
      ),
      said,
    ),
    async ({ day }, button) => {
      const { changed } = await post('/timetable/exceptions', {
        term: t.code,
        day,
        ...(button?.value === 'undo' ? { undo: true } : {}),
      });
      fill(said, `${plural(changed, 'weekly meeting')} changed on that day.`);
    },
  );
}

function termCard(t, load) {
  return h(
    'section',
    { class: 'card', 'aria-label': `Term ${t.code}` },
    h('h2', t.code, t.over && h('span', { class: 'tag' }, 'over')),
    h(
      'p',
      { class: 'soft' },
      [t.title, `${t.first} to ${t.last}`, plural(t.sections, 'section')].filter(Boolean).join(' · '),
    ),
    h('details', h('summary', 'Change'), termForm(t, load)),
    t.sections > 0 &&
      !t.over &&
      h('details', h('summary', 'A day without classes for all its sections'), holidayForm(t)),
    t.sections === 0 &&
      act(
        'Remove',
        async () => {
          await remove(`/terms/${t.id}`);
          await load();
        },
        { kind: 'quiet' },
      ),
  );
}

export async function terms(main) {
  const load = async () => {
    const { terms: list } = await get('/terms');
    fill(
      main,
      h('h1', 'Terms'),
      h(
        'p',
        { class: 'soft' },
        'Sections of a term meet on its days and end with it: demonstrators and markers then see them no more.',
      ),
      h('div', { class: 'cards' }, list.map((t) => termCard(t, load))),
      h('details', { open: list.length === 0 }, h('summary', 'Add a term'), termForm({}, load)),
    );
  };
  await load();
}
