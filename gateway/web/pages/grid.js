// A section: students down, experiments across, live while the class is in the room. Each cell says
// what there is in a word, with a shape: usable, note, again, nothing.

import { address, get, post, remove } from './api.js';
import { act, announce, fill, h, later, select, tick } from './dom.js';
import { follow } from './events.js';
import { has } from './shell.js';
import { accession, mark, moment, plural, section as sectionName, verdict } from './words.js';

const WORD = { usable: 'usable', note: 'note', again: 'again', none: 'nothing' };

/** What a cell comes to: the one that counts, else the best that was kept. */
export function cellState(measurements) {
  if (!measurements?.length) return 'none';
  const counts = measurements.find((m) => m.counts);
  if (counts) return WORD[counts.verdict] ? counts.verdict : 'usable';
  const kept = measurements.filter((m) => m.kept !== 'again');
  return ['usable', 'note'].find((state) => kept.some((m) => m.verdict === state)) || 'again';
}

function cellDialog(student, experiment, measurements) {
  const close = h('button', { type: 'button', onclick: () => box.close() }, 'Close');
  const box = h(
    'dialog',
    { 'aria-label': `${student.name}, ${experiment.code}` },
    h('h2', `${student.name} · ${experiment.code}`),
    h(
      'ul',
      { class: 'plain' },
      measurements.map((m) =>
        h(
          'li',
          h('a', { href: `#/spectrum/${m.id}`, onclick: () => box.close() }, accession(m)),
          ' ',
          verdict(m),
          ' ',
          m.counts && h('span', { class: 'tag counts' }, '⚑ counts'),
          m.kept === 'again' && h('span', { class: 'tag' }, 'set aside'),
          ' ',
          h('small', moment(m.measured_us)),
        ),
      ),
    ),
    h('div', { class: 'row' }, close),
  );
  document.body.append(box);
  box.addEventListener('close', () => box.remove());
  box.showModal();
}

function cell(student, experiment, measurements) {
  const state = cellState(measurements);
  const key = `c-${student.id}-${experiment.id}`;
  const label = `${student.name}, ${experiment.code}: ${WORD[state]}${measurements.length > 1 ? `, ${measurements.length} spectra` : ''}`;
  if (!measurements.length) return h('td', mark('none', WORD.none));
  const inside = [
    mark(state, WORD[state]),
    measurements.length > 1 && h('span', { class: 'count' }, `×${measurements.length}`),
  ];
  if (measurements.length === 1)
    return h(
      'td',
      h('a', { href: `#/spectrum/${measurements[0].id}`, 'aria-label': label, 'data-key': key }, inside),
    );
  return h(
    'td',
    h(
      'button',
      {
        type: 'button',
        'aria-label': label,
        'data-key': key,
        onclick: () => cellDialog(student, experiment, measurements),
      },
      inside,
    ),
  );
}

const cellsOf = (student, experiment) =>
  student.cells?.find((c) => c.experiment === experiment.id)?.measurements || [];

function sums(data) {
  return h(
    'div',
    { class: 'sums' },
    data.experiments
      .filter((e) => e.id)
      .map((e) => {
        const states = data.students.map((s) => cellState(cellsOf(s, e)));
        const n = (state) => states.filter((s) => s === state).length;
        const fine = n('usable') + n('note');
        return h(
          'div',
          { class: 'card' },
          h('div', { class: 'name' }, e.code, ' ', e.title),
          h('div', h('strong', `${fine} of ${states.length}`), ' have a usable one'),
          h('div', { class: 'soft' }, `${n('again')} should run again, ${n('none')} nothing yet`),
        );
      }),
  );
}

function table(data, onlyMissing) {
  const students = onlyMissing
    ? data.students.filter((s) =>
        data.experiments.some((e) => e.id && ['none', 'again'].includes(cellState(cellsOf(s, e)))),
      )
    : data.students;
  return h(
    'div',
    { class: 'grid-scroll', tabindex: 0, role: 'region', 'aria-label': 'Students and experiments' },
    h(
      'table',
      { class: 'grid' },
      h(
        'thead',
        h(
          'tr',
          h('th', { scope: 'col' }, 'Student'),
          data.experiments.map((e) =>
            h('th', { scope: 'col' }, e.code, e.title && h('div', { class: 'soft' }, e.title)),
          ),
        ),
      ),
      h(
        'tbody',
        students.map((s) =>
          h(
            'tr',
            h(
              'th',
              { scope: 'row' },
              s.name,
              s.left && h('span', { class: 'tag' }, 'left'),
              s.number && h('div', h('small', { class: 'soft' }, s.number)),
            ),
            data.experiments.map((e) => cell(s, e, cellsOf(s, e))),
          ),
        ),
      ),
    ),
  );
}

function marking(id, data) {
  const experiments = [
    ['', 'All experiments'],
    ...data.experiments.filter((e) => e.id).map((e) => [e.id, e.code]),
  ];
  const which = h(
    'select',
    { 'aria-label': 'Experiment' },
    experiments.map(([key, text]) => h('option', { value: key }, text)),
  );
  const all = tick('all', 'also those that do not count', false);
  const link = h('a', { class: 'button primary', download: true }, 'ZIP for marking');
  const booklet = h('a', { class: 'button', download: true }, 'Booklet (PDF)');
  const aim = () => {
    const parts = [
      which.value && `experiment=${which.value}`,
      `all=${all.querySelector('input').checked ? 1 : 0}`,
    ].filter(Boolean);
    link.href = address(`/sections/${id}/zip?${parts.join('&')}`);
    booklet.href = address(`/sections/${id}/booklet.pdf?${parts.join('&')}`);
  };
  which.addEventListener('change', aim);
  all.addEventListener('change', aim);
  aim();
  const cards = act(
    'Bench cards (PDF)',
    async () => {
      await post(`/sections/${id}/cards`);
      location.assign(address(`/sections/${id}/cards.pdf`));
    },
    { kind: 'quiet' },
  );
  return h('div', { class: 'row' }, link, booklet, h('div', which), all, cards);
}

/** A lost card must not sign anybody on; its owner makes another one whenever there is time. */
function lostCard(data) {
  const who = select(
    'person',
    [['', 'Whose?'], ...data.students.map((s) => [s.id, s.name])],
    '',
    { 'aria-label': 'Whose card is lost' },
  );
  const said = h('p', { role: 'status' });
  const end = act('Make card and PIN void', async () => {
    if (!who.value) throw new Error('Please choose whose card it is.');
    await remove(`/people/${who.value}/card`);
    fill(said, `${who.selectedOptions[0].textContent}: card and PIN are void.`);
  });
  return h('details', h('summary', 'A bench card is lost'), h('div', { class: 'row' }, who, end), said);
}

/* Spectra without an experiment get a column of their own, where there are any. */
async function fetchGrid(id) {
  const data = await get(`/sections/${id}/grid`);
  if (data.students.some((s) => s.cells?.some((c) => c.experiment === 0 && c.measurements.length)))
    data.experiments.push({ id: 0, code: 'Other', title: 'no experiment said' });
  data.students = data.students.filter((s) => !s.left || s.cells?.some((c) => c.measurements.length));
  return data;
}

export const grid =
  (me) =>
  async (main, [id]) => {
    const staff = has(me, 'demonstrator', 'instructor', 'technician', 'administrator');
    let data = await fetchGrid(id);
    const missing = tick('missing', 'Only who still needs one', false);
    const live = h('span', { class: 'soft', role: 'status' });
    const head = h('div');
    const body = h('div');
    const draw = () => {
      fill(
        head,
        sums(data),
        data.unclaimed > 0 &&
          staff &&
          h(
            'p',
            { class: 'say note' },
            `${plural(data.unclaimed, 'spectrum', 'spectra')} of this section ${data.unclaimed === 1 ? 'has' : 'have'} no name. `,
            h('a', { href: '#/unclaimed' }, data.unclaimed === 1 ? 'Give it one' : 'Give them one'),
          ),
      );
      const held = body.querySelector('.grid-scroll');
      const scroll = held ? [held.scrollLeft, held.scrollTop] : [0, 0];
      fill(
        body,
        data.students.length
          ? table(data, missing.querySelector('input').checked)
          : h('p', { class: 'nothing' }, 'Nobody is on the roster yet.'),
      );
      body.querySelector('.grid-scroll')?.scrollTo(...scroll);
    };
    missing.addEventListener('change', draw);
    fill(
      main,
      h('h1', sectionName(data.section)),
      data.section.title && h('p', { class: 'soft' }, data.section.title),
      has(me, 'instructor', 'administrator') && marking(id, data),
      has(me, 'instructor', 'technician', 'administrator') && lostCard(data),
      head,
      h('div', { class: 'row' }, missing, live),
      h(
        'div',
        { class: 'key' },
        h('span', { class: 'only-spoken' }, 'Shapes: '),
        ['usable', 'note', 'again', 'none'].map((s) => mark(s, WORD[s])),
      ),
      body,
    );
    draw();
    const reload = later(300, async () => {
      try {
        data = await fetchGrid(id);
        draw();
        announce('The grid has changed.');
      } catch (problem) {
        live.textContent = problem.message;
      }
    });
    // Whoever only marks gets no news: events would tell whose spectrum came when.
    if (!staff) return null;
    return follow([`section:${id}`], reload, (reached) => {
      live.textContent = reached
        ? 'Live: new spectra appear by themselves.'
        : 'Server not reached; trying again.';
    });
  };
