// Courses with their experiments, and cards of their sections.

import { get, post } from './api.js';
import { act, announce, field, fill, h, select, tick, whenSubmitted } from './dom.js';
import { sectionForm } from './setup-section.js';
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
const TECHNIQUES = [
  ['infrared', 'Infrared'],
  ['raman', 'Raman'],
  ['uv-vis', 'UV-Vis'],
  ['other', 'Other'],
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
          '0: no limit, empty: 20',
        ),
      ),
      save(c.id ? 'Save' : 'Add'),
    ),
    async (values) => {
      await post('/courses', { title: '', pages_a_day: 20, ...values, change: Boolean(c.id) });
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

function meeting(s) {
  if (!s.next_us) return 'No meeting ahead.';
  if (s.next_us <= Date.now() * 1000) return ['Meeting now, until ', moment(s.next_ends_us)];
  return ['Next meeting ', moment(s.next_us)];
}

const sectionCard = (c, s) =>
  h(
    'a',
    {
      class: 'card',
      href: `#/courses/${encodeURIComponent(c.code)}/section/${encodeURIComponent(s.code)}`,
    },
    h('h3', `Section ${s.code}`, s.ended_us && h('span', { class: 'tag' }, 'ended')),
    h(
      'p',
      { class: 'soft' },
      [s.title, s.place, s.term && `term ${s.term}`, plural(s.students || 0, 'student')]
        .filter(Boolean)
        .join(' · '),
    ),
    !s.ended_us && h('p', meeting(s)),
    h('p', { class: 'soft' }, (s.staff || []).map((p) => p.name).join(', ')),
  );

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
        field('Technique', select('technique', TECHNIQUES, e.technique)),
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
        title: '',
        preparation: '',
        plates: '',
        ...values,
        course: c.code,
        change: Boolean(e.id),
        expected: values.expected ?? 0,
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
    const [{ courses: list }, { terms }] = await Promise.all([get('/courses'), get('/terms')]);
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
        c.sections.map((s) => sectionCard(c, s)),
      ),
      h('details', h('summary', 'Add a section'), sectionForm(c.code, {}, terms, load)),
      h('h2', 'Experiments'),
      c.experiments.map((e) =>
        h(
          'details',
          h(
            'summary',
            `${e.code} · ${e.title}`,
            h('span', { class: 'soft' }, e.expected ? ` ${e.expected} expected` : ''),
            e.ended_us && h('span', { class: 'tag' }, 'no longer offered'),
          ),
          experimentForm(c, e, load),
          act(
            e.ended_us ? 'Offer it again' : 'No longer offered at the bench',
            async () => {
              await post('/experiments', { course: c.code, code: e.code, change: true, ended: !e.ended_us });
              await load();
            },
            { kind: 'quiet' },
          ),
        ),
      ),
      h('details', h('summary', 'Add an experiment'), experimentForm(c, {}, load)),
      h('h2', 'Course'),
      h('details', h('summary', 'Change'), courseForm(c, load)),
    );
  };
  await load();
}
