// A turn that nobody signed on for, entered afterwards: who sat at which instrument from when to when. What it
// would take over is shown before it does.

import { get, post } from './api.js';
import { act, announce, field, fill, formValues, h, select, showProblem } from './dom.js';
import { accession, day, people, section as sectionName, time, verdict } from './words.js';

const two = (n) => String(n).padStart(2, '0');
const dayOf = (d) => `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())}`;
const timeOf = (d) => `${two(d.getHours())}:${two(d.getMinutes())}`;
/** The browser's local time, as people read it off the clock in the lab. */
const instant = (date, clock) => new Date(`${date}T${clock}`).getTime() * 1000;

async function rosterFields(id) {
  const data = await get(`/sections/${id}/grid`);
  const names = data.students.map((s) => [s.id, s.name]);
  return [
    field('Person', select('persons', [['', 'Choose…'], ...names], '', { required: true })),
    field('With', select('persons', [['', 'alone'], ...names], '')),
    field(
      'Experiment',
      select(
        'experiment',
        [['', 'Not said'], ...data.experiments.filter((e) => e.id).map((e) => [e.id, `${e.code} ${e.title || ''}`])],
        '',
      ),
    ),
  ];
}

function bodyOf(form) {
  const values = formValues(form);
  const from_us = instant(values.date, values.from);
  const last_us = instant(values.date, values.to);
  // Both minutes belong to it; an end before the beginning is after midnight.
  const to_us = (last_us < from_us ? last_us + 86400e6 : last_us) + 60e6;
  const body = {
    instrument: Number(values.instrument),
    section: Number(values.section),
    persons: [].concat(values.persons || []).map(Number),
    from_us,
    to_us,
    sample: values.sample || '',
  };
  if (values.experiment) body.experiment = Number(values.experiment);
  return body;
}

const line = (m) =>
  h(
    'li',
    h('a', { href: `#/spectrum/${m.id}` }, accession(m)),
    ' ',
    `${day(m.measured_us)}, ${time(m.measured_us)} · now ${people(m) || 'nobody’s'} `,
    verdict(m),
  );

function outcome(place, body, found) {
  const go = act(
    'Enter this turn',
    async () => {
      const made = await post('/turns', body);
      announce('Entered.');
      fill(
        place,
        h(
          'div',
          { class: 'say good', role: 'status' },
          h('p', `The turn is entered; ${made.restamped.length === 1 ? '1 spectrum has' : `${made.restamped.length} spectra have`} its name now.`),
        ),
      );
    },
    { kind: 'primary' },
  );
  fill(
    place,
    h('h2', 'What it would take over'),
    found.spectra.length === 0
      ? h('p', 'No spectrum: there is none of that instrument and time that nobody said anything about.')
      : h('ul', { class: 'plain' }, found.spectra.map(line)),
    h(
      'p',
      { class: 'soft' },
      'Each becomes a new revision. What a person claimed, assigned or answered is left as it is.',
    ),
    h('div', { class: 'row' }, go),
  );
}

export async function turnEntry(main) {
  const [{ instruments }, { sections }] = await Promise.all([get('/instruments'), get('/sections')]);
  const now = new Date();
  const from = new Date(now.getTime() - 3600000);
  const which = select(
    'section',
    sections.map((s) => [s.id, sectionName(s)]),
    sections.find((s) => s.now)?.id ?? sections[0]?.id,
  );
  const rest = h('div', { class: 'wide fields' });
  const place = h('div', { 'aria-live': 'polite' });
  const roster = async () => {
    fill(place);
    fill(rest, which.value ? await rosterFields(which.value) : null);
  };
  which.addEventListener('change', () => roster().catch(showProblem));
  const input = (name, type, value) => h('input', { name, type, value, required: true });
  const form = h(
    'form',
    { class: 'card' },
    h(
      'div',
      { class: 'fields' },
      field(
        'Instrument',
        select(
          'instrument',
          instruments.map((i) => [i.id, `${i.name}, ${i.place}`]),
          instruments[0]?.id,
        ),
      ),
      field('Day', input('date', 'date', dayOf(from))),
      field('From', input('from', 'time', timeOf(from))),
      field('To', input('to', 'time', timeOf(now))),
      field('Section', which),
      rest,
      field('Sample', h('input', { name: 'sample', maxlength: 127 })),
    ),
    h('div', { class: 'row' }, h('button', { class: 'primary' }, 'Show what it would take over')),
  );
  form.addEventListener('input', () => fill(place));
  form.addEventListener('submit', async (event) => {
    event.preventDefault();
    try {
      const body = bodyOf(form);
      outcome(place, body, await post('/turns', { ...body, dry_run: true }));
    } catch (problem) {
      fill(place);
      showProblem(problem, form);
    }
  });
  fill(
    main,
    h('h1', 'Enter a turn'),
    h('p', { class: 'soft' }, 'For a sign-on that was forgotten: who measured where, and from when to when.'),
    sections.length === 0 ? h('p', { class: 'nothing' }, 'No section is yours.') : [form, place],
  );
  if (sections.length) await roster();
}
