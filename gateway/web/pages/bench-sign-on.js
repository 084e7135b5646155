// Sign-on: tap the name, look at the one confirmation, Start. Everything else has a default.

import { act, field, fill, h, select } from './dom.js';
import { KINDS, PLATES, PREPARATIONS } from './words.js';

const FILTER_FROM = 16;

export const sectionText = (s) => [s.course, s.code && `section ${s.code}`].filter(Boolean).join(', ');

/** The roster of a section as buttons; typing letters narrows it, Enter takes the only one left. */
export function rosterPicker(sections, wanted, picked, { guest } = {}) {
  const place = h('div');
  let section = sections.find((s) => s.id === wanted) || sections.find((s) => s.now) || sections[0];
  const letters = h('input', {
    type: 'search',
    autocomplete: 'off',
    spellcheck: 'false',
    'aria-label': 'Find a name',
    placeholder: 'Find a name',
    'data-key': 'find-name',
  });
  const list = h('div', { class: 'names', role: 'group', 'aria-label': 'Names' });
  const fitting = () =>
    section.roster.filter((p) =>
      p.name.toLocaleLowerCase().includes(letters.value.trim().toLocaleLowerCase()),
    );
  const names = () =>
    fill(
      list,
      fitting().map((p) =>
        h(
          'button',
          { type: 'button', class: 'name', 'data-key': `p-${p.id}`, onclick: () => picked(p, section) },
          p.name,
        ),
      ),
      fitting().length === 0 && h('p', { class: 'nothing' }, 'No such name in this section.'),
    );
  letters.addEventListener('input', names);
  letters.addEventListener('keydown', (event) => {
    const one = fitting();
    if (event.key !== 'Enter' || one.length !== 1) return;
    event.preventDefault();
    picked(one[0], section);
  });
  if (!section)
    return fill(place, h('p', { class: 'say note' }, 'No section meets now, and none is set up. Ask staff.'));
  const which =
    sections.length > 1 &&
    select(
      'section',
      sections.map((s) => [s.id, sectionText(s) + (s.now ? ' (now)' : '')]),
      section.id,
      { 'aria-label': 'Section' },
    );
  which?.addEventListener?.('change', () => {
    section = sections.find((s) => String(s.id) === which.value);
    letters.value = '';
    names();
  });
  names();
  return fill(
    place,
    h(
      'div',
      { class: 'row' },
      which ? h('div', which) : h('p', { class: 'soft' }, sectionText(section)),
      section.roster.length > FILTER_FROM && h('div', letters),
    ),
    list,
    guest &&
      h(
        'div',
        { class: 'row' },
        h('button', { type: 'button', class: 'quiet', onclick: () => guest(section) }, 'A visitor'),
      ),
  );
}

/* One of several, as buttons; the chosen one carries a tick besides its colour. */
function chips(label, options, value, changed) {
  const box = h('div', { class: 'chips', role: 'group', 'aria-label': label });
  const draw = () =>
    fill(
      box,
      options.map(([key, text]) =>
        h(
          'button',
          {
            type: 'button',
            class: 'chip',
            'aria-pressed': String(key === value),
            'data-key': `${label}-${key}`,
            onclick: () => {
              value = key;
              draw();
              changed(key);
            },
          },
          key === value ? '✓ ' : '',
          text,
        ),
      ),
    );
  draw();
  return box;
}

/* Whose turn, of which experiment and sample: what Start sends. */
function confirmation(bench, choice, back, start) {
  const { section } = choice;
  const last = bench.store.last(section.id) || {};
  const experiment =
    section.experiments.find((e) => e.id === (choice.experiment ?? last.experiment)) ||
    section.experiments[0] ||
    null;
  choice.experiment = experiment?.id ?? null;
  const samples = experiment?.samples || [];
  const sample = h('input', {
    name: 'sample',
    maxlength: 127,
    autocomplete: 'off',
    value: choice.sample || '',
    'data-key': 'sample',
  });
  const none = h('p', { class: 'soft', role: 'status' });
  const sayNone = () => {
    none.textContent = samples.length && !sample.value.trim() ? 'No sample yet: the sheet would name none.' : '';
  };
  sample.addEventListener('input', () => {
    choice.sample = sample.value;
    sayNone();
  });
  sayNone();
  const more = {
    kind: 'sample',
    preparation: experiment?.preparation || bench.state.instrument.preparation || '',
    plates: experiment?.plates || bench.state.instrument.plates || '',
    ...choice.more,
  };
  const pick = (name, label, options) => {
    const box = select(name, options, more[name]);
    box.addEventListener('change', () => (choice.more = { ...choice.more, [name]: box.value }));
    return field(label, box);
  };
  const partners = section.roster.filter((p) => p.id !== choice.person?.id);
  const partner = select(
    'partner',
    [['', 'alone'], ...partners.map((p) => [p.id, p.name])],
    choice.partner ?? '',
  );
  partner.addEventListener('change', () => (choice.partner = partner.value));
  const again = () => bench.redraw();
  const go = act(
    'Start',
    () =>
      start(
        {
          ...(choice.person
            ? {
                persons: [
                  choice.person.id,
                  Number(choice.partner),
                  ...(choice.joined || []).map((p) => p.id),
                ].filter(Boolean),
                ...(choice.pass ? { pass: choice.pass } : {}),
              }
            : { guest: choice.guest }),
          section: section.id,
          ...(choice.experiment ? { experiment: choice.experiment } : {}),
          ...(sample.value.trim() ? { sample: sample.value.trim() } : {}),
          ...more,
        },
        choice,
      ),
    { kind: 'primary huge', key: 'start' },
  );
  const setSample = (name) => {
    choice.sample = name;
    sample.value = name;
    sayNone();
  };
  return h(
    'section',
    { class: 'confirm card', 'aria-label': 'Confirm' },
    h('h1', [choice.person, ...(choice.joined || [])].map((p) => p?.name || choice.guest).join(', ')),
    h('p', { class: 'soft' }, sectionText(section)),
    section.experiments.length > 1
      ? [
          h('h2', 'Experiment'),
          chips(
            'Experiment',
            section.experiments.map((e) => [e.id, `${e.code} ${e.title || ''}`]),
            choice.experiment,
            (id) => {
              Object.assign(choice, { experiment: id, sample: '', more: undefined });
              again();
            },
          ),
        ]
      : experiment && h('p', h('strong', `${experiment.code} `), experiment.title),
    h('h2', 'Sample'),
    samples.length > 0 &&
      chips(
        'Sample',
        samples.map((s) => [s, s]),
        choice.sample,
        setSample,
      ),
    field(samples.length ? 'or as on the label' : 'As on its label', sample),
    none,
    h('div', { class: 'row' }, go, h('button', { type: 'button', class: 'quiet', onclick: back }, 'Not me')),
    h(
      'details',
      { open: Boolean(choice.more || choice.partner) },
      h(
        'summary',
        `Partner, kind, preparation (${[more.preparation, more.plates].filter(Boolean).join(', ') || 'not said'})`,
      ),
      h(
        'div',
        { class: 'fields' },
        choice.person && field('With', partner),
        pick('kind', 'Kind', KINDS),
        pick('preparation', 'Preparation', PREPARATIONS),
        pick('plates', 'Plates', PLATES),
      ),
    ),
  );
}

function guestForm(picked, back) {
  const name = h('input', { name: 'guest', required: true, maxlength: 60, autocomplete: 'off' });
  const form = h(
    'form',
    { class: 'card' },
    h('h1', 'A visitor'),
    field('Label for the sheet', name, 'kept for 30 days, without an account'),
    h(
      'div',
      { class: 'row' },
      h('button', { class: 'primary' }, 'Go on'),
      h('button', { type: 'button', class: 'quiet', onclick: back }, 'Back'),
    ),
  );
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    picked(name.value.trim());
  });
  return form;
}

/** The panel. `bench.draft` holds the choice, so that news from elsewhere does not undo it. */
export function signOn(bench) {
  const { state, draft } = bench;
  const back = () => {
    bench.draft = { takesOver: draft.takesOver };
    bench.redraw();
  };
  const start = (body, choice) => bench.signOn(body, choice);
  if (draft.asksGuest)
    return guestForm((guest) => {
      bench.draft = { guest, section: draft.section, takesOver: draft.takesOver };
      bench.redraw();
    }, back);
  if (draft.person || draft.guest) {
    draft.section = state.sections.find((s) => s.id === draft.section.id) || draft.section;
    return confirmation(bench, draft, back, start);
  }
  return h(
    'section',
    { 'aria-label': 'Sign on' },
    h('h1', 'Who is measuring?'),
    h('p', { class: 'caution' }, state.cautions?.sign_on),
    rosterPicker(
      state.sections,
      draft.section?.id,
      (person, section) => {
        bench.draft = { person, section, takesOver: draft.takesOver };
        bench.redraw(true);
      },
      {
        guest: (section) => {
          bench.draft = { asksGuest: true, section, takesOver: draft.takesOver };
          bench.redraw(true);
        },
      },
    ),
  );
}
