// A student's own spectra, newest first, with search; and claiming one by the code on its sheet.

import { get, post, query } from './api.js';
import { announce, field, fill, h, later, whenSubmitted } from './dom.js';
import { follow } from './events.js';
import { removedWords } from './removal.js';
import { accession, day, experiment, names, section, time, verdict } from './words.js';

function line(m, me) {
  const others = (m.persons || []).filter((p) => p.id !== me.person.id);
  return h(
    'li',
    h(
      'a',
      { href: `#/spectrum/${m.id}`, 'data-key': `m-${m.id}` },
      accession(m),
      verdict(m),
      h(
        'span',
        h('span', { class: 'sample' }, m.sample || m.title || 'Spectrum'),
        ' ',
        m.counts && h('span', { class: 'tag counts' }, '⚑ for my report'),
        h('br'),
        h(
          'span',
          { class: 'where' },
          [
            experiment(m),
            section(m.section),
            m.instrument?.name,
            others.length && `with ${names(others)}`,
            m.kept === 'again' && 'set aside',
          ]
            .filter(Boolean)
            .join(' · '),
        ),
      ),
      h('span', { class: 'where' }, time(m.measured_us)),
    ),
  );
}

function byDay(list, me) {
  const days = new Map();
  for (const m of list) {
    const name = day(m.measured_us);
    days.set(name, [...(days.get(name) || []), m]);
  }
  return [...days].map(([name, some]) => [
    h('h2', { class: 'day' }, name),
    h(
      'ul',
      { class: 'spectra' },
      some.map((m) => line(m, me)),
    ),
  ]);
}

const WEEK_US = 7 * 24 * 3600 * 1e6;

/** Mail that came back: where nothing is mailed any more until that is changed, else for a week. */
async function cameBack() {
  const { returned } = await get('/me/mail');
  if (!returned || (!returned.stopped && returned.at_us < Date.now() * 1000 - WEEK_US)) return null;
  return h(
    'div',
    { class: 'say bad', role: 'status' },
    h(
      'p',
      h('strong', 'Mail to you came back.'),
      ` ${returned.reason} `,
      h('span', { class: 'soft' }, `${day(returned.at_us)}, ${time(returned.at_us)}`),
    ),
    h(
      'p',
      returned.stopped
        ? 'Nothing more is mailed to that address. Ask staff to change it. Your spectra are here as always.'
        : 'Your spectra are here as always.',
    ),
  );
}

export const inbox = (me) => async (main) => {
  let list = [];
  let more = false;
  const wanted = h('input', { type: 'search', name: 'q', autocomplete: 'off' });
  const place = h('div', { 'aria-busy': 'true' });
  const moreButton = h(
    'button',
    { type: 'button', hidden: true, onclick: () => load(list[list.length - 1]?.id) },
    'Older ones',
  );
  const draw = () => {
    const empty = wanted.value
      ? `Nothing fits “${wanted.value}”.`
      : 'Nothing here yet. What you measure at a bench appears here within seconds.';
    fill(place, list.length ? byDay(list, me) : h('p', { class: 'nothing' }, empty));
    place.removeAttribute('aria-busy');
    moreButton.hidden = !more;
  };
  const load = async (before) => {
    const text = wanted.value;
    const answer = await get('/me/measurements' + query({ q: text, before }));
    if (text !== wanted.value) return;
    list = before ? [...list, ...answer.measurements] : answer.measurements;
    more = answer.more;
    draw();
  };
  const search = later(250, async () => {
    await load();
    announce(list.length === 1 ? 'One spectrum' : `${list.length}${more ? ' or more' : ''} spectra`);
  });
  wanted.addEventListener('input', search);
  fill(
    main,
    h('h1', 'Your spectra'),
    await cameBack(),
    h(
      'div',
      { class: 'search' },
      field('Search', wanted, 'number, sample, experiment or course'),
      h('a', { class: 'button', href: '#/claim' }, 'Claim a spectrum by its code'),
      h('a', { class: 'button', href: '#/card' }, 'My bench card'),
    ),
    place,
    h('div', { class: 'row' }, moreButton),
  );
  await load();
  return follow(
    [`person:${me.person.id}`],
    later(200, () => load()),
  );
};

/** Leads from the number on a sheet to its spectrum. */
export const find = (main, [number]) =>
  get('/find' + query({ accession: number })).then(
    (found) =>
      found.removed
        ? fill(main, h('h1', `Number ${number}`), removedWords(found.removed))
        : location.replace(`#/spectrum/${found.measurement}`),
    (problem) => {
      fill(
        main,
        h('h1', `Number ${number}`),
        h(
          'p',
          { class: 'say' },
          problem.status === 404 ? 'There is no spectrum of yours with this number.' : problem.message,
        ),
      );
    },
  );

export async function claim(main) {
  const form = h(
    'form',
    { class: 'card' },
    field(
      'Code on the sheet',
      h('input', {
        name: 'code',
        required: true,
        autocomplete: 'off',
        autocapitalize: 'characters',
        spellcheck: 'false',
      }),
    ),
    field(
      'Number on the sheet',
      h('input', {
        name: 'accession',
        autocomplete: 'off',
        autocapitalize: 'characters',
        spellcheck: 'false',
      }),
      'if you have it, such as 10042M',
    ),
    h('div', { class: 'row' }, h('button', { class: 'primary' }, 'It is mine')),
  );
  whenSubmitted(form, async (values) => {
    const m = await post('/claims', values);
    location.assign(`#/spectrum/${m.id}`);
  });
  fill(
    main,
    h('h1', 'Claim a spectrum'),
    h(
      'p',
      'A sheet without a name carries a code. Claim it here until midnight of the day it was measured; after that, ask staff.',
    ),
    form,
  );
}
