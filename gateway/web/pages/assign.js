// Giving a spectrum its name: by a suggestion in one tap, or chosen from a section. Always a revision
// with a reason.

import { get, post } from './api.js';
import { act, announce, field, fill, formValues, h, select, showProblem, whenSubmitted } from './dom.js';
import { KINDS, PLATES, PREPARATIONS, section as sectionName } from './words.js';

/** One tap for each suggested person. */
export function suggestions(m, done) {
  if (!m.suggestion?.length) return null;
  return h(
    'div',
    { class: 'suggested' },
    h('span', 'Suggested:'),
    m.suggestion.map((p) =>
      act(`It is ${p.name}`, async () => {
        await post(`/measurements/${m.id}/stamp`, { persons: [p.id], reason: 'The suggestion was right.' });
        announce(`Given to ${p.name}.`);
        await done();
      }),
    ),
  );
}

async function choose(m, place, done) {
  const { sections } = await get('/sections');
  const suggested = sections.find((s) => s.id === m.suggestion?.[0]?.section);
  const wanted = m.section?.id ?? suggested?.id ?? sections.find((s) => s.now)?.id ?? sections[0]?.id;
  const which = select(
    'section',
    sections.map((s) => [s.id, sectionName(s)]),
    wanted,
  );
  const rest = h('div', { class: 'wide fields' });
  const load = async () => {
    if (!which.value) return;
    const data = await get(`/sections/${which.value}/grid`);
    const mine = m.persons?.map((p) => p.id) || [];
    fill(
      rest,
      field(
        'Person',
        select('persons', [['', 'Choose…'], ...data.students.map((s) => [s.id, s.name])], mine[0], {
          required: true,
        }),
      ),
      field('With', select('persons', [['', 'alone'], ...data.students.map((s) => [s.id, s.name])], mine[1])),
      field(
        'Experiment',
        select(
          'experiment',
          [['', 'Not said'], ...data.experiments.map((e) => [e.id, `${e.code} ${e.title || ''}`])],
          m.experiment?.id,
        ),
      ),
    );
  };
  which.addEventListener('change', () => load().catch(showProblem));
  const form = h(
    'form',
    h(
      'div',
      { class: 'fields' },
      field('Section', which),
      rest,
      field('Sample', h('input', { name: 'sample', value: m.sample || '', maxlength: 127 })),
      field('Kind', select('kind', KINDS, m.kind)),
      field('Preparation', select('preparation', PREPARATIONS, m.preparation)),
      field('Plates', select('plates', PLATES, m.plates)),
      h(
        'div',
        { class: 'wide' },
        field(
          'Reason',
          h('input', { name: 'reason', required: true, maxlength: 199 }),
          'stands in the history',
        ),
      ),
    ),
    h(
      'div',
      { class: 'row' },
      h('button', { class: 'primary' }, 'Save'),
      h('button', { type: 'button', class: 'quiet', onclick: () => fill(place) }, 'Leave it'),
    ),
  );
  whenSubmitted(form, async () => {
    const values = formValues(form);
    const body = {
      ...values,
      persons: [].concat(values.persons || []).map(Number),
      section: Number(values.section),
    };
    if (values.experiment) body.experiment = Number(values.experiment);
    await post(`/measurements/${m.id}/stamp`, body);
    announce('Saved.');
    await done();
  });
  await load();
  fill(place, form);
  form.querySelector('select').focus();
}

/** For the page of one spectrum, and for each line of the unclaimed. */
export function assignPanel(m, done) {
  const place = h('div');
  return h(
    'section',
    { class: m.unclaimed ? 'card' : 'card quiet', 'aria-label': 'Name' },
    h('h2', m.unclaimed ? 'Nobody’s yet' : 'Name and labels'),
    suggestions(m, done),
    h(
      'div',
      { class: 'row' },
      act(m.unclaimed ? 'Give it a name' : 'Correct', () => choose(m, place, done)),
    ),
    place,
  );
}

export function assignInline(m, done) {
  const place = h('div');
  return [
    suggestions(m, done),
    h(
      'div',
      { class: 'row' },
      act('Somebody else', () => choose(m, place, done)),
    ),
    place,
  ];
}
