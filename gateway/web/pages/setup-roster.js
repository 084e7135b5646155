// Bringing in a roster: always tried first, the differences shown, then applied as a whole or not at all.

import { post } from './api.js';
import { announce, fill, h, act, field, showProblem, clearProblem } from './dom.js';
import { plural } from './words.js';

/* Spreadsheets on Windows still save CSV in its old encoding. */
async function read(file) {
  const bytes = await file.arrayBuffer();
  if (new Uint8Array(bytes).some((b) => b < 0x20 && ![9, 10, 13].includes(b)))
    throw new Error(`“${file.name}” is no text. Save the roster as CSV and choose that.`);
  try {
    return { text: new TextDecoder('utf-8', { fatal: true }).decode(bytes), old: false };
  } catch {
    return { text: new TextDecoder('windows-1252').decode(bytes), old: true };
  }
}

const list = (title, sign, rows) =>
  rows.length > 0 &&
  h(
    'section',
    { 'aria-label': title },
    h('h3', `${title} (${rows.length})`),
    h(
      'ul',
      { class: 'plain diff' },
      rows.map((row) => h('li', h('span', { class: 'mono', 'aria-hidden': 'true' }, sign), ' ', row)),
    ),
  );

function difference(outcome) {
  return [
    outcome.errors.length > 0 &&
      h(
        'div',
        { class: 'say bad', role: 'alert' },
        h('p', h('strong', 'Nothing can be applied while lines are wrong:')),
        h(
          'ul',
          outcome.errors.map((e) => h('li', `Line ${e.line}: ${e.text}`)),
        ),
      ),
    list('New', '+', outcome.added),
    list('Changed', '~', outcome.changed),
    list('Leave the section', '−', outcome.left),
    outcome.left.length > 0 && h('p', { class: 'soft' }, 'Who leaves keeps every spectrum.'),
    h('p', `${plural(outcome.same, 'person', 'people')} stay as they are.`),
  ];
}

export async function roster(main, [course, section]) {
  const text = h('textarea', { name: 'csv', rows: 12, spellcheck: 'false', class: 'mono' });
  const file = h('input', { type: 'file', accept: '.csv,text/csv,text/plain' });
  const outcome = h('div', { 'aria-live': 'polite' });
  const send = (dry_run) => post('/roster', { course, section, csv: text.value, dry_run });
  let old = false;
  file.addEventListener('change', async () => {
    fill(outcome);
    text.value = '';
    old = false;
    try {
      if (file.files[0]) ({ text: text.value, old } = await read(file.files[0]));
    } catch (problem) {
      showProblem(problem, outcome);
    }
  });
  text.addEventListener('input', () => fill(outcome));
  const apply = () =>
    act(
      'Apply this',
      async () => {
        const done = await send(false);
        fill(
          outcome,
          done.applied
            ? h('div', { class: 'say good', role: 'status' }, h('p', h('strong', 'The roster is applied.')))
            : null,
          difference(done),
        );
        announce(done.applied ? 'The roster is applied.' : 'Nothing was applied.');
      },
      { kind: 'primary' },
    );
  const failed = (problem) => showProblem(problem, outcome);
  fill(
    main,
    h('p', h(
        'a',
        { href: `#/courses/${encodeURIComponent(course)}/section/${encodeURIComponent(section)}` },
        `← ${course}, section ${section}`,
      )),
    h('h1', `Roster of ${course}, section ${section}`),
    h(
      'p',
      'CSV with a first line that names the columns, in any order: ',
      h('code', 'login, given, family, email, number, alias'),
      '. Only login and one of the names are needed.',
    ),
    h('div', { class: 'fields' }, field('A file', file)),
    field('or paste it', text),
    h(
      'div',
      { class: 'row' },
      act(
        'Show what would change',
        async () => {
          clearProblem(main);
          const tried = await send(true);
          const nothing = tried.added.length + tried.changed.length + tried.left.length === 0;
          fill(
            outcome,
            h('h2', 'What would change'),
            old && h('p', 'The file is not UTF-8 and was read as Windows-1252: look at the accents.'),
            difference(tried),
            tried.errors.length === 0 && !nothing && h('div', { class: 'row' }, apply()),
            nothing && tried.errors.length === 0 && h('p', 'Nothing would change.'),
          );
        },
        { kind: 'primary', failed },
      ),
    ),
    outcome,
  );
}
