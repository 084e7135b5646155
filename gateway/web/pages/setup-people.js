// People: finding, adding, changing. Students usually come with a roster.

import { get, post, query } from './api.js';
import { announce, field, fill, h, later, tick, whenSubmitted } from './dom.js';
import { day } from './words.js';
import { erasePerson } from './removal.js';

function form(p, done) {
  const box = h(
    'form',
    h(
      'div',
      { class: 'fields' },
      field(
        'Sign-in name',
        h('input', {
          name: 'login',
          required: true,
          value: p.login || '',
          readonly: Boolean(p.id),
          autocomplete: 'off',
          spellcheck: 'false',
        }),
      ),
      field('Given name', h('input', { name: 'given', value: p.given || '', autocomplete: 'off' })),
      field('Family name', h('input', { name: 'family', value: p.family || '', autocomplete: 'off' })),
      field(
        'Mail',
        h('input', { name: 'email', type: 'email', value: p.email || '', autocomplete: 'off' }),
        p.returned && `came back (${day(p.returned.at_us)}): ${p.returned.reason}`,
      ),
      field(
        'Alias',
        h('input', { name: 'alias', value: p.alias || '', autocomplete: 'off' }),
        'shown at benches instead',
      ),
      field(
        'Password',
        h('input', { name: 'password', type: 'password', autocomplete: 'new-password', minlength: 10 }),
        'staff only',
      ),
    ),
    h(
      'fieldset',
      h('legend', 'Works for all sections as'),
      tick('roles', 'Technician', p.roles?.includes('technician'), { value: 'technician' }),
      ' ',
      tick('roles', 'Administrator', p.roles?.includes('administrator'), { value: 'administrator' }),
    ),
    h('div', { class: 'row' }, h('button', { class: 'primary' }, p.id ? 'Save' : 'Add')),
  );
  return whenSubmitted(box, async (values) => {
    const emptied = p.id ? { given: '', family: '', email: '', alias: '' } : {};
    await post('/people', {
      ...emptied,
      ...values,
      roles: [].concat(values.roles || []),
      change: Boolean(p.id),
    });
    announce('Saved.');
    await done();
  });
}

export async function people(main) {
  const q = h('input', { type: 'search', name: 'q', autocomplete: 'off' });
  const list = h('div');
  const load = async () => {
    const { people: found } = await get('/people' + query({ q: q.value }));
    fill(
      list,
      found.length === 0
        ? h('p', { class: 'nothing' }, 'Nobody fits.')
        : found.map((p) => {
            const box = h(
              'details',
              h(
                'summary',
                `${p.family}, ${p.given}`,
                h('span', { class: 'soft' }, p.login),
                p.returned?.stopped &&
                  h('span', { class: 'tag', title: p.returned.reason }, 'mail came back'),
                p.roles
                  ?.filter((r) => ['technician', 'administrator'].includes(r))
                  .map((r) => h('span', { class: 'tag' }, r)),
              ),
            );
            box.addEventListener(
              'toggle',
              () => box.open && box.children.length === 1 && box.append(form(p, load), erasePerson(p, load)),
            );
            return box;
          }),
    );
  };
  q.addEventListener('input', later(250, load));
  fill(
    main,
    h('h1', 'People'),
    h('details', h('summary', 'Add a person'), form({}, load)),
    h('div', { class: 'row' }, field('Search', q, 'name or sign-in name')),
    list,
  );
  await load();
}
