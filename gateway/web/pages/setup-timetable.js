// When a section meets: weekly meetings with their exceptions, and single ones.

import { get, patch, post, query, remove } from './api.js';
import { act, announce, field, fill, h, select, whenSubmitted } from './dom.js';

const WEEKDAYS = ['Monday', 'Tuesday', 'Wednesday', 'Thursday', 'Friday', 'Saturday', 'Sunday'];
const input = (name, rest = {}) => h('input', { name, autocomplete: 'off', ...rest });
const times = (w) => [
  field('From', input('starts', { type: 'time', required: true, value: w.starts || '' })),
  field('To', input('ends', { type: 'time', required: true, value: w.ends || '' })),
];

/* The section's term gives the days unless some are typed; an emptied field gives them back to it. */
function weeklyForm(section, w, done) {
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field(
          'Weekday',
          select(
            'weekday',
            WEEKDAYS.map((d) => [d, d]),
            w.weekday,
          ),
        ),
        times(w),
        field(
          'First day',
          input('from', { type: 'date', value: (w.own_days && w.from) || '' }),
          section.term ? `empty: the term's` : '',
        ),
        field(
          'Last day',
          input('until', { type: 'date', value: (w.own_days && w.until) || '' }),
          section.term ? `empty: the term's` : '',
        ),
        field('Room', input('place', { value: w.place || '' }), 'if not the section’s'),
      ),
      h('div', { class: 'row' }, h('button', { class: 'primary' }, w.id ? 'Save' : 'Add')),
    ),
    async (values) => {
      const body = { from: '', until: '', place: '', ...values };
      if (w.id) await patch(`/timetable/${w.id}`, body);
      else await post('/timetable', { course: section.course, section: section.code, ...body });
      announce('Saved.');
      await done();
    },
  );
}

function exceptionForm(w, done) {
  return whenSubmitted(
    h(
      'form',
      h('p', { class: 'soft' }, 'A day alone is left out; with another day, time or room it is held there.'),
      h(
        'div',
        { class: 'fields' },
        field('Day', input('day', { type: 'date', required: true })),
        field('Held on', input('moved_to', { type: 'date' })),
        field('From', input('starts', { type: 'time' })),
        field('To', input('ends', { type: 'time' })),
        field('Room', input('place')),
      ),
      h('div', { class: 'row' }, h('button', { class: 'primary' }, 'Save')),
    ),
    async (values) => {
      await post('/timetable/exceptions', { weekly: w.id, ...values });
      announce('Saved.');
      await done();
    },
  );
}

const exception = (w, e, done) =>
  h(
    'li',
    e.moved_to ? `Not ${e.day}, but ${e.moved_to} ${e.starts} to ${e.ends} ${e.place}` : `Not ${e.day}`,
    ' ',
    act(
      'As usual again',
      async () => {
        await post('/timetable/exceptions', { weekly: w.id, day: e.day, undo: true });
        await done();
      },
      { kind: 'quiet', 'aria-label': `${e.day} as usual again` },
    ),
  );

function weeklyCard(section, w, done) {
  const title = `${w.weekday}s ${w.starts} to ${w.ends}`;
  return h(
    'section',
    { class: 'card', 'aria-label': title },
    h('h3', title),
    h(
      'p',
      { class: 'soft' },
      [`${w.from} to ${w.until}`, w.place, `${w.meetings} to come`].filter(Boolean).join(' · '),
    ),
    w.exceptions.length > 0 &&
      h(
        'ul',
        { class: 'plain' },
        w.exceptions.map((e) => exception(w, e, done)),
      ),
    h('details', h('summary', 'A day otherwise'), exceptionForm(w, done)),
    h('details', h('summary', 'Change'), weeklyForm(section, w, done)),
    h(
      'details',
      h('summary', 'End'),
      h('p', 'Takes away every meeting to come of it. What was held stays.'),
      act(
        'End it',
        async () => {
          await remove(`/timetable/${w.id}`);
          await done();
        },
        { kind: 'quiet' },
      ),
    ),
  );
}

function singleForm(section, done) {
  return whenSubmitted(
    h(
      'form',
      h(
        'div',
        { class: 'fields' },
        field('Day', input('day', { type: 'date', required: true })),
        times({}),
        field('Room', input('place'), 'if not the section’s'),
      ),
      h('div', { class: 'row' }, h('button', { class: 'primary' }, 'Add')),
    ),
    async (values) => {
      await post('/meetings', { course: section.course, section: section.code, ...values });
      announce('Added.');
      await done();
    },
  );
}

const meeting = (m, done) =>
  h(
    'li',
    `${m.starts} to ${m.ends.slice(-5)}`,
    m.place && h('span', { class: 'soft' }, ` · ${m.place}`),
    !m.weekly && [
      ' ',
      act(
        'Remove',
        async () => {
          await remove(`/meetings/${m.id}`);
          await done();
        },
        { kind: 'quiet', 'aria-label': `Remove the meeting of ${m.starts}` },
      ),
    ],
  );

/** Fills `place` with the timetable of a section {course, code, term}. */
export async function timetable(place, section) {
  const load = async () => {
    const { weekly, meetings } = await get(
      '/timetable' + query({ course: section.course, section: section.code }),
    );
    fill(
      place,
      weekly.map((w) => weeklyCard(section, w, load)),
      h(
        'details',
        { open: weekly.length === 0 },
        h('summary', 'Add a weekly meeting'),
        weeklyForm(section, {}, load),
      ),
      h('details', h('summary', 'Add a single meeting'), singleForm(section, load)),
      h(
        'details',
        h('summary', `All meetings to come (${meetings.length})`),
        h(
          'ul',
          { class: 'plain' },
          meetings.map((m) => meeting(m, load)),
        ),
      ),
    );
  };
  await load();
}
