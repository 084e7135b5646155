// What instructors, demonstrators, markers and technicians see of sections and spectra.

import { get, query } from './api.js';
import { assignPanel } from './assign.js';
import { bring } from './bring.js';
import { classes } from './staff-classes.js';
import { compare } from './compare.js';
import { field, fill, h, showProblem, whenSubmitted } from './dom.js';
import { grid } from './grid.js';
import { removedWords, removeSpectrum } from './removal.js';
import { frameFor, has, router, tabBar } from './shell.js';
import { showSpectrum } from './spectrum.js';
import { notices, unclaimed, unread } from './staff-lists.js';
import { turnEntry } from './turn-entry.js';
import { plural, section as sectionName } from './words.js';

function sectionCard(s) {
  return h(
    'a',
    { class: 'card', href: `#/grid/${s.id}` },
    h('h3', sectionName(s)),
    s.title && h('p', s.title),
    h(
      'p',
      { class: 'soft' },
      [
        s.now && 'now',
        s.ended && 'ended',
        plural(s.students ?? 0, 'student'),
        s.place,
        []
          .concat(s.instructors || [])
          .map((i) => i.name || i)
          .join(', '),
      ]
        .filter(Boolean)
        .join(' · '),
    ),
  );
}

const sections = (staff) => async (main) => {
  const { sections: list } = await get('/sections');
  const now = list.filter((s) => s.now);
  const rest = list.filter((s) => !s.now);
  const number = h(
    'form',
    { class: 'search row end' },
    field(
      'Find by number',
      h('input', {
        name: 'accession',
        autocomplete: 'off',
        autocapitalize: 'characters',
        spellcheck: 'false',
        placeholder: '10042M',
      }),
    ),
    h('button', 'Find'),
  );
  const answer = h('div');
  const around = h('div');
  whenSubmitted(number, async ({ accession }) => {
    const found = await get('/find' + query({ accession }));
    if (found.removed) fill(answer, removedWords(found.removed));
    else location.assign(`#/spectrum/${found.measurement}`);
  });
  fill(
    main,
    h('h1', 'Sections'),
    around,
    now.length > 0 && [h('h2', 'Meeting now'), h('div', { class: 'cards' }, now.map(sectionCard))],
    rest.length > 0 && [
      now.length > 0 && h('h2', 'Others'),
      h('div', { class: 'cards' }, rest.map(sectionCard)),
    ],
    list.length === 0 && h('p', { class: 'nothing' }, 'No section is yours.'),
    number,
    answer,
  );
  return staff ? classes(around) : undefined;
};

const spectrum =
  (me) =>
  async (main, [id]) => {
    const mayAssign = has(me, 'demonstrator', 'instructor', 'technician', 'administrator');
    const page = h('div');
    fill(
      main,
      h('p', h('button', { type: 'button', class: 'quiet', onclick: () => history.back() }, '← Back')),
      page,
    );
    const mayRemove = has(me, 'instructor', 'technician', 'administrator');
    const gone = (m) => fill(page, h('h1', 'Removed'), h('p', `Number ${m.accession} now says when, by whom and why.`));
    return showSpectrum(page, id, {
      extra: mayAssign ? (m, refresh) => assignPanel(m, refresh) : undefined,
      last: mayRemove ? (m) => removeSpectrum(m, () => gone(m)) : undefined,
      topics: mayAssign ? ['fleet'] : [],
    });
  };

async function begin() {
  const me = await frameFor('staff', 'demonstrator', 'instructor', 'marker', 'technician', 'administrator');
  if (!me) return;
  const staff = has(me, 'demonstrator', 'instructor', 'technician', 'administrator');
  const files = has(me, 'instructor', 'technician', 'administrator');
  await router(
    {
      '': sections(staff),
      'grid/:id': grid(me),
      'spectrum/:id': spectrum(me),
      unclaimed: unclaimed(has(me, 'technician', 'administrator')),
      notices,
      unread,
      bring,
      turn: turnEntry,
      'compare/:one/:other': compare,
    },
    tabBar([
      ['', 'Sections'],
      staff && ['unclaimed', 'Unclaimed'],
      staff && ['notices', 'Notices'],
      files && ['unread', 'Unread files'],
      files && ['bring', 'Bring files'],
      files && ['turn', 'Enter a turn'],
    ]),
  );
}

begin().catch(showProblem);
