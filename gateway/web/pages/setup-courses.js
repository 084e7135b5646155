// Courses with their sections, meetings, staff and experiments.

import { get, post } from './api.js';
import { announce, field, fill, h, select, tick, whenSubmitted } from './dom.js';
import { moment, plural, PLATES, PREPARATIONS } from './words.js';

const PRINTING = [
  ['ask', 'when asked at the bench'],
  ['at-once', 'at once'],
  ['inbox', 'not at all: inbox only'],
];
const MAILING = [
  ['digest', 'one mail after class'],
  ['each', 'each sheet'],
  ['link', 'links only'],
  ['none', 'no mail'],
];
const AXES = [
  ['transmittance', 'Transmittance'],
  ['absorbance', 'Absorbance'],
];
const SCALES = [
  ['even', 'the same scale'],
  ['half', 'half the scale'],
];
const STAFF_BITS = [
  [2, 'demonstrator'],
  [4, 'instructor'],
  [8, 'marker'],
];

const input = (name, rest = {}) => h('input', { name, autocomplete: 'off', ...rest });
const save = (text) => h('div', { class: 'row' }, h('button', { class: 'primary' }, text));

function courseForm(c, done) {
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field(
          'Code',
          input('code', { required: true, value: c.code || '', readonly: Boolean(c.id) }),
          'such as CHEM 231',
        ),
        field('Title', input('title', { value: c.title || '' })),
        field('Sheets show', select('y_axis', AXES, c.y_axis)),
        field('Above 2000 cm\u207b\u00b9', select('x_scale', SCALES, c.x_scale)),
        field('Printing', select('printing', PRINTING, c.printing)),
        field('Mail', select('mailing', MAILING, c.mailing)),
        field(
          'Pages a day and person',
          input('pages_a_day', { inputmode: 'numeric', value: c.pages_a_day ?? 20 }),
          '0: no limit',
        ),
      ),
      save(c.id ? 'Save' : 'Add'),
    ),
    async (values) => {
      await post('/courses', { ...values, pages_a_day: Number(values.pages_a_day ?? 0) });
      announce('Saved.');
      await done();
    },
  );
}

export async function courses(main) {
  const load = async () => {
    const { courses: list } = await get('/courses');
    fill(
      main,
      h('h1', 'Courses'),
      h(
        'div',
        { class: 'cards' },
        list.map((c) =>
          h(
            'a',
            { class: 'card', href: `#/courses/${encodeURIComponent(c.code)}` },
            h('h2', c.code),
            h('p', c.title),
            h(
              'p',
              { class: 'soft' },
              `${plural(c.sections.length, 'section')}, ${plural(c.experiments.length, 'experiment')}`,
            ),
          ),
        ),
      ),
      h('details', { open: list.length === 0 }, h('summary', 'Add a course'), courseForm({}, load)),
    );
  };
  await load();
}

const staffRoles = (s) =>
  Array.isArray(s.roles) ? s.roles : STAFF_BITS.filter(([bit]) => s.roles & bit).map(([, name]) => name);

/** A local date and time of the form as an instant. */
const instant = (date, clock) => new Date(`${date}T${clock}`).toISOString();

function meetingForm(c, s, done) {
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field('Day', input('day', { type: 'date', required: true })),
        field('From', input('from', { type: 'time', required: true })),
        field('To', input('to', { type: 'time', required: true })),
        field(
          'Weeks',
          input('weeks', { type: 'number', min: 1, max: 30, value: 1, required: true }),
          'one meeting a week',
        ),
      ),
      save('Add'),
    ),
    async (values) => {
      for (let week = 0; week < Number(values.weeks); week++) {
        const day = new Date(`${values.day}T12:00`);
        day.setDate(day.getDate() + 7 * week);
        const date = `${day.getFullYear()}-${String(day.getMonth() + 1).padStart(2, '0')}-${String(day.getDate()).padStart(2, '0')}`;
        await post('/meetings', {
          course: c.code,
          section: s.code,
          starts: instant(date, values.from),
          ends: instant(date, values.to),
        });
      }
      announce('Added.');
      await done();
    },
  );
}

function staffForm(c, s, done) {
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field('Sign-in name', input('login', { required: true, spellcheck: 'false' })),
      ),
      STAFF_BITS.map(([, name]) => tick('roles', name, name === 'instructor', { value: name })),
      save('Save'),
    ),
    async (values) => {
      await post('/staff', {
        course: c.code,
        section: s.code,
        login: values.login,
        roles: [].concat(values.roles || []),
      });
      announce('Saved.');
      await done();
    },
  );
}

function sectionCard(c, s, done) {
  return h(
    'section',
    { class: 'card', 'aria-label': `Section ${s.code}` },
    h('h3', `Section ${s.code}`),
    h(
      'p',
      { class: 'soft' },
      [s.title, s.place, plural(s.students || 0, 'student')].filter(Boolean).join(' · '),
    ),
    h('p', s.next_us ? ['Next meeting ', moment(s.next_us)] : 'No meeting ahead.'),
    h(
      'ul',
      { class: 'plain' },
      (s.staff || []).map((p) => h('li', `${p.name}: ${staffRoles(p).join(', ')}`)),
    ),
    h(
      'p',
      h(
        'a',
        {
          class: 'button',
          href: `#/courses/${encodeURIComponent(c.code)}/roster/${encodeURIComponent(s.code)}`,
        },
        'Roster',
      ),
    ),
    h('details', h('summary', 'Add meetings'), meetingForm(c, s, done)),
    h('details', h('summary', 'Add staff'), staffForm(c, s, done)),
  );
}

function sectionForm(c, done) {
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field('Code', input('section', { required: true }), 'such as 02'),
        field('Title', input('title')),
        field('Room', input('place'), 'building/floor/room'),
      ),
      save('Add'),
    ),
    async (values) => {
      await post('/sections', { course: c.code, ...values });
      await done();
    },
  );
}

function experimentForm(c, e, done) {
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field('Code', input('code', { required: true, value: e.code || '', readonly: Boolean(e.id) })),
        field('Title', input('title', { value: e.title || '' })),
        field(
          'Spectra expected',
          input('expected', { type: 'number', min: 0, max: 100, value: e.expected ?? 1 }),
          '0: no number',
        ),
        field('Preparation', select('preparation', PREPARATIONS, e.preparation)),
        field('Plates', select('plates', PLATES, e.plates)),
        h(
          'div',
          { class: 'wide' },
          field(
            'Samples',
            h('textarea', { name: 'samples', value: (e.samples || []).join('\n') }),
            'one on each line',
          ),
        ),
      ),
      tick('has_oh', 'The product is an acid, amide or hydrate: do not remark on water', e.has_oh, {
        value: 'true',
      }),
      save(e.id ? 'Save' : 'Add'),
    ),
    async (values) => {
      await post('/experiments', {
        ...values,
        course: c.code,
        expected: Number(values.expected ?? 0),
        has_oh: values.has_oh === 'true',
        samples: (values.samples || '')
          .split('\n')
          .map((s) => s.trim())
          .filter(Boolean),
      });
      announce('Saved.');
      await done();
    },
  );
}

export async function course(main, [code]) {
  const load = async () => {
    const { courses: list } = await get('/courses');
    const c = list.find((one) => one.code === code);
    if (!c) {
      fill(main, h('h1', code), h('p', 'There is no such course.'));
      return;
    }
    fill(
      main,
      h('p', h('a', { href: '#/courses' }, '← All courses')),
      h('h1', c.code),
      h('p', { class: 'soft' }, c.title),
      h('h2', 'Sections'),
      h(
        'div',
        { class: 'cards' },
        c.sections.map((s) => sectionCard(c, s, load)),
      ),
      h('details', h('summary', 'Add a section'), sectionForm(c, load)),
      h('h2', 'Experiments'),
      c.experiments.map((e) =>
        h(
          'details',
          h(
            'summary',
            `${e.code} · ${e.title}`,
            h('span', { class: 'soft' }, e.expected ? `${e.expected} expected` : ''),
          ),
          experimentForm(c, e, load),
        ),
      ),
      h('details', h('summary', 'Add an experiment'), experimentForm(c, {}, load)),
      h('h2', 'Course'),
      h('details', h('summary', 'Change'), courseForm(c, load)),
    );
  };
  await load();
}
