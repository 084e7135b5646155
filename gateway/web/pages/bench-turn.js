// The panels of a turn: waiting, a new spectrum with its verdict, the question whose it is, hand-over.

import { post } from './api.js';
import { act, fill, field, h } from './dom.js';
import { rosterPicker } from './bench-sign-on.js';
import { accession, capital, deliveryReason, names, time, verdict } from './words.js';

const SILENCE_US = 180e6;
const PLATED = ['', 'liquid film', 'cast film', 'mull'];

const whose = (turn) => (turn.persons?.length ? names(turn.persons) : turn.guest || 'A visitor');

function preparationCaution(state, turn) {
  if (turn.preparation === 'pellet') return state.cautions?.pellet;
  return PLATED.includes(turn.preparation || '') && turn.plates !== 'none'
    ? state.cautions?.preparation
    : null;
}

/** What became of the sheet: the state with its reason, and the question about another room. */
function paper(bench, m) {
  const d = m.print;
  if (!d) return null;
  const there = (answer) => async () => {
    await post(`/deliveries/${d.id}/answer`, { answer });
    await bench.refresh();
  };
  return h(
    'div',
    { class: d.state === 'asking' ? 'say note' : 'say', role: 'status' },
    h('p', deliveryReason(d)),
    d.state === 'asking' &&
      h(
        'div',
        { class: 'row big' },
        act('Print there', there('print'), { kind: 'primary', key: 'print-there' }),
        act('Inbox only', there('inbox'), { key: 'inbox-only' }),
      ),
  );
}

function outcome(m) {
  if (m.kept === 'kept')
    return h(
      'p',
      { class: 'say good', role: 'status' },
      h('strong', 'Kept.'),
      m.print ? ' It is in the inbox too.' : ' It is in the inbox, not on paper.',
    );
  if (m.kept === 'again')
    return h(
      'p',
      { class: 'say', role: 'status' },
      h('strong', 'Set aside.'),
      ' Run it again when you are ready: the new one appears here.',
    );
  if (m.kept === 'auto' && !m.print)
    return h(
      'p',
      { class: 'say', role: 'status' },
      h('strong', 'Kept in the inbox, not printed.'),
      ' Nobody tapped for a while.',
    );
  return null;
}

function choices(bench, m) {
  const deed =
    (verb, body = {}) =>
    () =>
      bench.deed(verb, { measurement: m.id, ...body });
  if (m.kept === 'auto' && !m.print)
    return h('div', { class: 'row big' }, act('Print it too', deed('keep'), { key: 'keep' }));
  if (m.kept !== 'open') return null;
  const poor = m.verdict === 'again';
  const keep = act('Keep and print', deed('keep'), { kind: poor ? 'huge' : 'primary huge', key: 'keep' });
  const again = act('Run again', deed('again'), { kind: poor ? 'primary huge' : 'huge', key: 'again' });
  return h(
    'div',
    { class: 'row big' },
    poor ? [again, keep] : [keep, again],
    act('Keep, no paper', deed('keep', { print: false }), { kind: 'quiet', key: 'no-paper' }),
  );
}

const remarks = (m) =>
  (m.remarks || [])
    .slice(0, 2)
    .map((r) =>
      h('div', { class: 'remark' }, h('p', h('strong', capital(r.text))), r.advice && h('p', r.advice)),
    );

/** A new spectrum: verdict first, then what to do, then the plot. */
export function spectrum(bench, m) {
  return h(
    'section',
    { class: 'spectrum', 'aria-label': `Spectrum ${m.accession}` },
    h(
      'div',
      { class: 'title-line' },
      h('p', { class: 'verdict-line huge' }, verdict(m)),
      h('span', accession(m), ' ', h('span', { class: 'soft' }, time(m.measured_us))),
    ),
    remarks(m),
    choices(bench, m),
    outcome(m),
    paper(bench, m),
    bench.plotFor(m),
  );
}

function turnList(bench) {
  const list = bench.state.turn_measurements || [];
  if (list.length < 2) return null;
  return h(
    'section',
    { 'aria-label': 'In this turn' },
    h('h2', 'In this turn'),
    h(
      'ul',
      { class: 'turn-list' },
      list.map((m) =>
        h(
          'li',
          accession(m),
          ' ',
          verdict(m),
          ' ',
          m.kept === 'again' && h('span', { class: 'tag' }, 'set aside'),
          ' ',
          m.counts
            ? h('span', { class: 'tag counts' }, '⚑ for the report')
            : act(
                'This one for the report',
                async () => {
                  await post(`/measurements/${m.id}/counts`);
                  await bench.refresh();
                },
                { kind: 'quiet', key: `counts-${m.id}` },
              ),
        ),
      ),
    ),
  );
}

function waiting(bench, turn) {
  const { state } = bench;
  const long = !state.current && !bench.offline && bench.now() - turn.opened_us > SILENCE_US;
  const how = state.instrument.how_to_export;
  return [
    h(
      'p',
      { class: 'wait' },
      bench.offline
        ? 'Measure as usual. The spectrum is safe on this PC; the verdict comes later.'
        : 'Measure and save. The spectrum appears here by itself.',
    ),
    long &&
      h(
        'div',
        { class: 'say note', role: 'status' },
        h('p', h('strong', `Nothing has arrived from ${state.instrument.name}.`)),
        how && h('p', how),
      ),
    !long && how && h('details', h('summary', 'How to save it'), h('p', how)),
    h('p', { class: 'caution' }, preparationCaution(state, turn)),
  ];
}

/** An open turn. */
export function turnPanel(bench) {
  const { turn, current } = bench.state;
  const facts = [
    turn.course && `${turn.course} ${turn.section_code || ''}`.trim(),
    turn.experiment_code && `${turn.experiment_code} ${turn.experiment_title || ''}`.trim(),
    turn.sample && `sample ${turn.sample}`,
    turn.kind && turn.kind !== 'sample' && turn.kind,
    turn.preparation,
    turn.expected > 0 && `${turn.seen || 0} of ${turn.expected} spectra`,
  ];
  const somebodyElse = h(
    'button',
    {
      type: 'button',
      class: 'quiet',
      'data-key': 'else',
      onclick: () => {
        bench.draft = { takesOver: true };
        bench.redraw(true);
      },
    },
    `Not ${whose(turn)}? Sign on`,
  );
  return h(
    'section',
    { 'aria-label': 'Turn' },
    h(
      'div',
      { class: 'turn-head' },
      h('div', h('h1', whose(turn)), h('p', { class: 'soft' }, facts.filter(Boolean).join(' · '))),
      act('Done', () => bench.done(), {
        kind: current?.kept === 'kept' ? 'primary huge' : 'huge',
        key: 'done',
      }),
    ),
    current && !current.unclaimed ? spectrum(bench, current) : waiting(bench, turn),
    turnList(bench),
    h('div', { class: 'row' }, somebodyElse),
  );
}

/** "Still Maya R.? Yes / No, I am ..." */
export function question(bench) {
  const { state } = bench;
  const { measurement: m, text, persons = [] } = state.question;
  const turn = state.turn;
  const answer = (body) => bench.deed('answer', { measurement: m.id, ...body });
  const section = (id) => state.sections.find((s) => s.roster.some((p) => p.id === id));
  const asPerson = (p, s) =>
    answer({
      persons: [p.id],
      ...(s ? { section: s.id } : {}),
      ...(turn?.experiment && turn.section === s?.id ? { experiment: turn.experiment } : {}),
    });
  const others = persons.filter((p) => !turn?.persons?.some((t) => t.id === p.id));
  const roster = h(
    'div',
    { hidden: !bench.draft.picks },
    rosterPicker(state.sections, turn?.section, (p, s) => asPerson(p, s).catch(bench.failed)),
  );
  const pick = h(
    'button',
    {
      type: 'button',
      class: 'huge',
      'data-key': 'no',
      'aria-expanded': String(Boolean(bench.draft.picks)),
      onclick: () => {
        bench.draft.picks = !bench.draft.picks;
        roster.hidden = !bench.draft.picks;
        pick.setAttribute('aria-expanded', String(bench.draft.picks));
        roster.querySelector('button, input, select')?.focus();
      },
    },
    turn ? 'No, I am …' : 'I am …',
  );
  return h(
    'section',
    { class: 'question', 'aria-label': 'Whose is it?' },
    h('h1', turn ? `Still ${whose(turn)}?` : 'Whose spectrum is this?'),
    h('p', accession(m), `, ${time(m.measured_us)}. `, text && h('span', { class: 'soft' }, text)),
    h(
      'div',
      { class: 'row big' },
      turn && act(`Yes, ${whose(turn)}`, () => answer({ same: true }), { kind: 'primary huge', key: 'yes' }),
      others.map((p) => act(p.name, () => asPerson(p, section(p.id)), { kind: 'huge', key: `o-${p.id}` })),
      pick,
      act('Nobody here', () => answer({ nobody: true }), { kind: 'quiet', key: 'nobody' }),
      !turn &&
        m.kept === 'open' &&
        act('Print it without a name', () => bench.deed('keep', { measurement: m.id }), {
          kind: 'quiet',
          key: 'print-nameless',
        }),
    ),
    nameless(bench, m),
    roster,
    h('p', { class: 'soft' }, 'Without an answer it stays unclaimed, and staff see it.'),
    bench.plotFor(m),
  );
}

/* Printed without a name: where it comes out, and how it is claimed. */
const nameless = (bench, m) =>
  m.kept === 'kept' &&
  m.unclaimed && [
    h('p', { role: 'status' }, h('strong', 'Kept without a name.'), ' The code on its sheet claims it until midnight.'),
    paper(bench, m),
  ];

/** A spectrum that came while nobody was signed on, and about which nothing is asked. */
export function ownerless(bench) {
  const m = bench.state.current;
  return h(
    'section',
    { class: 'say note', 'aria-label': 'Without a name' },
    h('p', h('strong', 'A spectrum without a name: '), accession(m), `, ${time(m.measured_us)}.`),
    h(
      'details',
      { 'data-key': 'mine' },
      h('summary', 'It is mine'),
      rosterPicker(bench.state.sections, null, (p, s) =>
        bench.deed('answer', { measurement: m.id, persons: [p.id], section: s.id }).catch(bench.failed),
      ),
    ),
    m.kept === 'open' &&
      h(
        'div',
        { class: 'row' },
        act('Print it without a name', () => bench.deed('keep', { measurement: m.id }), {
          key: 'print-nameless',
        }),
      ),
    nameless(bench, m),
  );
}

/** Name and plot are gone; one picture, one sentence. */
export function handOver(bench) {
  const lines = bench.state.cautions?.hand_over || [];
  const said = h('p', { role: 'status' });
  return h(
    'section',
    { class: 'hand-over', 'aria-label': 'Hand over' },
    h('img', {
      src: '/hand-over.svg',
      alt: 'Sample out; plates wiped and back in the desiccator.',
      width: 320,
      height: 150,
    }),
    h('h1', lines[0]),
    h(
      'div',
      { class: 'row big' },
      h(
        'button',
        { type: 'button', class: 'primary huge', 'data-key': 'next', onclick: () => bench.next() },
        'Next, please',
      ),
    ),
    h('p', lines[1]),
    h(
      'div',
      { class: 'row' },
      act(
        'A plate is cloudy or broken: take out of use',
        async (button) => {
          await bench.deed('plates-out', {}, { stay: true });
          said.textContent = 'Thank you. It is counted for reordering.';
          button.hidden = true;
        },
        { kind: 'quiet' },
      ),
    ),
    said,
  );
}

/** Claiming a sheet by its code at the bench. */
export function claimPanel(bench) {
  const code = h('input', {
    name: 'code',
    autocomplete: 'off',
    autocapitalize: 'characters',
    spellcheck: 'false',
    'data-key': 'claim-code',
  });
  const said = h('div');
  code.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter') return;
    event.preventDefault();
    fill(said, h('p', { class: 'say', role: 'status' }, 'Now tap your name below: it is claimed for you.'));
    who.querySelector('input, button')?.focus();
  });
  const who = rosterPicker(bench.state.sections, null, async (p) => {
    try {
      const m = await post('/claims', { code: code.value.trim(), person: p.id });
      fill(
        said,
        h('p', { class: 'say good', role: 'status' }, `${m.accession} is in the inbox of ${p.name}.`),
      );
      code.value = '';
    } catch (problem) {
      fill(said, h('p', { class: 'say bad', role: 'alert' }, problem.message));
    }
  });
  return h(
    'details',
    { class: 'claim' },
    h('summary', 'Claim a sheet by its code'),
    field('Code on the sheet', code),
    said,
    h('p', 'Then tap your name:'),
    who,
  );
}
