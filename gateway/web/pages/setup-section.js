// One section: when it meets, who is on its roster, who staffs it.

import { get, post } from './api.js';
import { act, announce, field, fill, h, select, tick, whenSubmitted } from './dom.js';
import { timetable } from './setup-timetable.js';
import { day, plural } from './words.js';

const ROLES = [
  [2, 'demonstrator'],
  [4, 'instructor'],
  [8, 'marker'],
];
const input = (name, rest = {}) => h('input', { name, autocomplete: 'off', ...rest });
const held = (s) =>
  Array.isArray(s.roles) ? s.roles : ROLES.filter(([bit]) => s.roles & bit).map(([, name]) => name);

/** "Add a section" and "Change" of one. `terms` are all there are. */
export function sectionForm(course, s, terms, done) {
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field(
          'Code',
          input('section', { required: true, value: s.code || '', readonly: Boolean(s.id) }),
          'such as 02',
        ),
        field('Title', input('title', { value: s.title || '' })),
        field('Room', input('place', { value: s.place || '' }), 'building/floor/room'),
        field(
          'Term',
          select('term', [['', 'none'], ...terms.map((t) => [t.code, t.code])], s.term || ''),
          'gives its days, ends it',
        ),
      ),
      h('div', { class: 'row' }, h('button', { class: 'primary' }, s.id ? 'Save' : 'Add')),
    ),
    async (values) => {
      const empty = s.id ? { title: '', place: '', term: '' } : {};
      await post('/sections', { course, ...empty, ...values, change: Boolean(s.id) });
      announce('Saved.');
      await done();
    },
  );
}

function staffForm(where, person, done) {
  const now = held(person);
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field(
          'Sign-in name',
          input('login', {
            required: true,
            spellcheck: 'false',
            value: person.login || '',
            readonly: Boolean(person.login),
          }),
        ),
      ),
      ROLES.map(([, name]) =>
        tick('roles', name, now.includes(name), { value: name }),
      ),
      h('div', { class: 'row' }, h('button', { class: 'primary' }, person.login ? 'Save' : 'Add')),
    ),
    async (values) => {
      if (!values.roles) throw new Error('Please tick what they are in this section.');
      await post('/staff', { ...where, login: values.login, roles: [].concat(values.roles || []) });
      announce('Saved.');
      await done();
    },
  );
}

const staffLine = (where, person, done) =>
  h(
    'details',
    h('summary', person.name, h('span', { class: 'soft' }, ` ${held(person).join(', ')}`)),
    staffForm(where, person, done),
    act(
      'No longer staff here',
      async () => {
        await post('/staff', { ...where, login: person.login, roles: [] });
        await done();
      },
      { kind: 'quiet' },
    ),
  );

function studentLine(where, p, others, done) {
  const line = h(
    'summary',
    `${p.family}, ${p.given}`,
    h('span', { class: 'soft' }, ` ${[p.login, p.number].filter(Boolean).join(' · ')}`),
    p.to_us !== null && h('span', { class: 'tag' }, `left ${day(p.to_us)}`),
  );
  const change = (body) => async () => {
    await post('/enrolments', { ...where, login: p.login, ...body });
    await done();
  };
  if (p.to_us !== null)
    return h('details', line, act('On the roster again', change({}), { kind: 'quiet' }));
  const to = select(
    'to',
    others.map((s) => [s.code, `section ${s.code}`]),
  );
  return h(
    'details',
    line,
    h('p', { class: 'soft' }, 'Who leaves or changes the section keeps every spectrum.'),
    others.length > 0 &&
      h(
        'div',
        { class: 'row end' },
        field('Changes to', to),
        act('Move', () => change({ move_to: to.value })()),
      ),
    h('div', { class: 'row' }, act('Leaves the section', change({ left: true }), { kind: 'quiet' })),
  );
}

const studentForm = (where, done) =>
  whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field('Sign-in name', input('login', { required: true, spellcheck: 'false' }), 'of somebody known'),
        field('Number', input('number')),
      ),
      h('div', { class: 'row' }, h('button', { class: 'primary' }, 'Add')),
    ),
    async (values) => {
      await post('/enrolments', { ...where, ...values });
      announce('Added.');
      await done();
    },
  );

async function students(place, c, s) {
  const where = { course: c.code, section: s.code };
  const others = c.sections.filter((one) => one.id !== s.id && !one.ended_us);
  const load = async () => {
    const { students: list } = await get(`/sections/${s.id}/roster`);
    fill(
      place,
      h(
        'p',
        h(
          'a',
          {
            class: 'button',
            href: `#/courses/${encodeURIComponent(c.code)}/roster/${encodeURIComponent(s.code)}`,
          },
          'Bring in a roster',
        ),
      ),
      h(
        'details',
        h('summary', plural(list.filter((p) => p.to_us === null).length, 'student')),
        list.map((p) => studentLine(where, p, others, load)),
      ),
      h('details', h('summary', 'Add one student'), studentForm(where, load)),
    );
  };
  await load();
}

const endOrReopen = (where, s, done) =>
  h(
    'div',
    { class: 'row' },
    act(
      s.ended_us ? 'Open it again' : 'End this section',
      async () => {
        await post('/sections', { ...where, change: true, ended: !s.ended_us });
        await done();
      },
      { kind: 'quiet' },
    ),
  );

export async function section(main, [code, part]) {
  const load = async () => {
    const [{ courses }, { terms }] = await Promise.all([get('/courses'), get('/terms')]);
    const c = courses.find((one) => one.code === code);
    const s = c?.sections.find((one) => one.code === part);
    if (!s) {
      fill(main, h('h1', `${code}, section ${part}`), h('p', 'There is no such section.'));
      return;
    }
    const where = { course: c.code, section: s.code };
    const times = h('div');
    const people = h('div');
    fill(
      main,
      h('p', h('a', { href: `#/courses/${encodeURIComponent(c.code)}` }, `← ${c.code}`)),
      h('h1', `${c.code}, section ${s.code}`, s.ended_us && h('span', { class: 'tag' }, 'ended')),
      h('p', { class: 'soft' }, [s.title, s.place, s.term && `term ${s.term}`].filter(Boolean).join(' · ')),
      h('h2', 'Timetable'),
      times,
      h('h2', 'Students'),
      people,
      h('h2', 'Staff'),
      (s.staff || []).map((p) => staffLine(where, p, load)),
      h('details', h('summary', 'Add staff'), staffForm(where, {}, load)),
      h('h2', 'Section'),
      h('details', h('summary', 'Change'), sectionForm(c.code, s, terms, load), endOrReopen(where, s, load)),
    );
    await Promise.all([timetable(times, { ...where, code: s.code, term: s.term }), students(people, c, s)]);
  };
  await load();
}
