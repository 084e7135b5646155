// The page at an instrument. The gateway's state decides what is shown; events say when to ask for it
// again. Without the gateway, sign-on goes on from what is kept here, and the turns are sent later.

import { get, post, Problem, Unreached } from './api.js';
import { act, announce, fill, h, later, showProblem } from './dom.js';
import { follow } from './events.js';
import { store } from './bench-store.js';
import { cardField, listen, pausePanel, scan, shownPanel, waitingPanel } from './bench-cards.js';
import { signOn } from './bench-sign-on.js';
import { claimPanel, handOver, ownerless, question, turnPanel } from './bench-turn.js';
import { plot } from './plot.js';
import { mark, names, time, verdictWords } from './words.js';

const POLL_MS = 30000;
const RETRY_MS = 4000;
const HAND_OVER_MS = 45000;
const SKEW_TIME = () => Date.now() * 1000;

const id = document.body.dataset.instrument || location.pathname.split('/')[2];
const main = document.querySelector('main');

const MESSAGE = {
  'other-file': (t) =>
    `“${t}” is not a spectrum file of a kind that is taken. Save the spectrum as JCAMP-DX or text.`,
  'too-large': (t) => `“${t}” is too large to be a spectrum.`,
  'folder-lost': () => 'The export folder cannot be read. Tell staff.',
};

const bench = {
  id,
  shown: null, // whose card was shown while another's turn is open
  state: null,
  draft: {},
  store: store(id),
  offline: 0, // since when, in ms
  handingOver: 0,
  finished: null, // the turn that was handed over here
  deeds: 0, // counts what was tapped: an answer to an older question is out of date
  skew: 0,
  drawn: '',
  plots: new Map(),
  now: () => SKEW_TIME() + bench.skew,
  failed: (problem) => showProblem(problem),
};

/* ---- what is shown ---- */

function panel() {
  const { state } = bench;
  if (bench.handingOver) return handOver(bench);
  if (state.question) return question(bench);
  if (bench.shown && state.turn) return [shownPanel(bench), waitingPanel(bench)];
  if (state.turn && !bench.draft.takesOver) return [turnPanel(bench), waitingPanel(bench)];
  return [
    state.current?.unclaimed && ownerless(bench),
    waitingPanel(bench),
    signOn(bench),
    !bench.draft.person && !bench.draft.asksGuest && cardField(bench),
    !bench.offline && !bench.draft.person && claimPanel(bench),
    !bench.offline && !bench.draft.person && pausePanel(bench),
  ];
}

/* While this stays the same, nothing is drawn again: nobody loses what is half typed. */
function signature() {
  const { state } = bench;
  const paper = (d) => d && [d.id, d.state, d.reason];
  const m = (one) => one && [one.id, one.kept, one.counts, one.unclaimed, one.verdict, paper(one.print)];
  const long = state.turn && !state.current && bench.now() - state.turn.opened_us > 180e6;
  return JSON.stringify([
    bench.handingOver,
    bench.shown?.person.id,
    state.waiting?.people.map((p) => p.id),
    m(state.question?.measurement),
    state.turn && [state.turn.id, state.turn.persons, state.turn.sample, state.turn.seen],
    m(state.current),
    (state.turn_measurements || []).map(m),
    state.sections.map((s) => [s.id, s.roster.length, s.experiments.length]),
    Boolean(bench.offline),
    state.instrument.paused,
    long,
  ]);
}

/* The lab's own picture of how to export, where there is one. */
function exportPicture() {
  const { picture } = bench.state.instrument;
  return (
    picture &&
    h('img', {
      class: 'how',
      src: `/api/v1/instruments/${id}/picture?of=${picture}`,
      alt: 'How to export, as a picture',
    })
  );
}

function bars() {
  const { state } = bench;
  const waitingTurns = bench.store.queue().length;
  const messages = (state.messages || [])
    .slice(0, 3)
    .map((one) =>
      h(
        'p',
        { class: 'say note' },
        (MESSAGE[one.kind] || ((t) => t))(one.text),
        ' ',
        h('small', { class: 'soft' }, time(one.at_us)),
        one.kind === 'other-file' &&
          state.instrument.how_to_export &&
          h('span', h('br'), state.instrument.how_to_export),
        one.kind === 'other-file' && exportPicture(),
      ),
    );
  fill(
    document.getElementById('bars'),
    bench.offline
      ? h(
          'p',
          { class: 'grey-bar', role: 'status' },
          `Server not reached since ${time(bench.offline * 1000)}. Carry on: spectra are safe on this PC, sheets come later.`,
          waitingTurns > 0 && h('small', ` ${waitingTurns} kept here to be sent.`),
        )
      : null,
    state.instrument.paused
      ? h(
          'p',
          { class: 'grey-bar' },
          `Paused until ${time(state.instrument.paused_until_us)}: not teaching. Nothing is taken from this instrument. `,
          act('Resume', () => post(`/instruments/${id}/pause`, { minutes: 0 }).then(bench.refresh), {
            key: 'resume',
          }),
        )
      : null,
    state.nothing && h('p', { class: 'say note', role: 'status' }, state.nothing.text),
    messages,
  );
  const p = state.printer;
  fill(
    document.getElementById('printer'),
    p &&
      mark(
        ['ready', 'printing'].includes(p.state) ? 'good' : p.state === 'unknown' ? 'unknown' : 'note',
        p.state_text && p.state !== 'ready' ? `${p.name} ${p.state_text}` : `${p.name}: ${p.state}`,
      ),
  );
}

bench.redraw = (focus = false) => {
  bench.drawn = signature();
  fill(main, panel());
  bars();
  if (focus) (main.querySelector('[data-key="start"], form input') || main).focus();
  else goOn();
};

/* Who works by keyboard goes on with the next thing to do; nobody who types is disturbed. */
let byKey = false;
addEventListener('keydown', () => (byKey = true), true);
addEventListener('pointerdown', () => (byKey = false), true);

function goOn() {
  if (!byKey || ![document.body, main].includes(document.activeElement)) return;
  const next = main.querySelector('.primary:is([data-key="keep"], [data-key="again"], [data-key="yes"])');
  (next || main).focus({ preventScroll: true });
}

/** The plot of a measurement, drawn once and kept while it is shown. */
bench.plotFor = (m) => {
  if (bench.plots.has(m.id)) return bench.plots.get(m.id);
  bench.plots.clear();
  const area = h('div', { class: 'plot' }, h('p', { class: 'soft' }, 'Drawing…'));
  bench.plots.set(m.id, area);
  get(`/measurements/${m.id}/points`)
    .then((points) => plot(area, points, { title: `Spectrum ${m.accession}` }))
    .catch(() => {
      fill(area, h('img', { src: `/api/v1/measurements/${m.id}/sheet.png`, alt: `Sheet of ${m.accession}` }));
    });
  return area;
};

function tellNews(before, state) {
  const was = before?.current?.id;
  const m = state.current;
  if (state.question && state.question.measurement.id !== before?.question?.measurement.id)
    announce('A spectrum has arrived. Whose is it?');
  else if (m && m.id !== was) announce(`New spectrum ${m.accession}: ${verdictWords(m)}`);
}

function take(state) {
  const before = bench.state;
  bench.offline = 0;
  bench.skew = state.now_us ? state.now_us - SKEW_TIME() : 0;
  bench.state = state;
  bench.store.keep(state);
  tellNews(before, state);
  if (state.turn && state.turn.id !== before?.turn?.id) bench.draft = {};
  if (state.question || (state.turn && state.turn.id !== bench.finished)) bench.handingOver = 0;
  if (signature() === bench.drawn) bars();
  else bench.redraw();
}

/* ---- away from the gateway ---- */

function away() {
  const kept = bench.store.kept();
  bench.offline ||= Date.now();
  if (!bench.state && !kept) return;
  bench.state = {
    turn_measurements: [],
    ...kept,
    ...bench.state,
    question: null,
    current: null,
    messages: [],
    printer: null,
    turn: bench.store.turn() || bench.state?.turn || null,
  };
  if (signature() === bench.drawn) bars();
  else bench.redraw();
}

/* The turns tapped meanwhile, in order. One that is refused is told and left out; the rest goes on. */
async function sendQueue() {
  for (let queue = bench.store.queue(); queue.length > 0; queue = bench.store.queue()) {
    const { verb, body, who } = queue[0];
    try {
      await post(`/bench/${id}/${verb}`, body);
    } catch (problem) {
      if (problem instanceof Unreached || problem.status === 429 || problem.status >= 500) throw problem;
      announce(`${who || ''}: ${problem.message}`);
      showProblem(
        new Error(`What was tapped at ${time(body.at_us)} (${who || verb}) was refused: ${problem.message}`),
      );
    }
    bench.store.shift();
  }
  bench.store.setTurn(null);
}

bench.refresh = async () => {
  const { deeds } = bench;
  try {
    const state = await get(`/bench/${id}`);
    if (deeds !== bench.deeds) return;
    if (bench.store.queue().length > 0) {
      await sendQueue();
      take(await get(`/bench/${id}`));
    } else {
      take(state);
    }
  } catch (problem) {
    if (problem instanceof Unreached || problem.status >= 500) away();
    else if (problem instanceof Problem && problem.status === 401) location.assign('/bench');
    else throw problem;
  }
};

/* ---- what is tapped ---- */

/** Does it at the gateway; the answer is the new state. */
bench.deed = async (verb, body, { stay = false } = {}) => {
  bench.deeds += 1;
  const state = await post(`/bench/${id}/${verb}`, body);
  bench.deeds += 1;
  if (stay) bench.state = state;
  else take(state);
};

function localTurn(body, choice) {
  const { section } = choice;
  const e = section.experiments.find((one) => one.id === body.experiment);
  const partner = section.roster.filter((p) => body.persons?.includes(p.id));
  return {
    id: `local-${Date.now()}`,
    persons: partner,
    guest: body.guest || '',
    section: section.id,
    course: section.course,
    section_code: section.code,
    experiment: e?.id ?? null,
    experiment_code: e?.code,
    experiment_title: e?.title,
    sample: body.sample || '',
    kind: body.kind,
    preparation: body.preparation,
    plates: body.plates,
    opened_us: bench.now(),
    expected: 0,
    seen: 0,
  };
}

function queue(verb, body, turn, who) {
  if (!bench.store.push({ verb, body: { ...body, at_us: bench.now() }, who }))
    throw new Error(
      'This browser keeps nothing for later. Write your name and the time on paper, and tell staff.',
    );
  bench.store.setTurn(turn);
  bench.state = { ...bench.state, turn, current: null, question: null };
}

bench.signOn = async (body, choice) => {
  bench.store.setLast(choice.section.id, { experiment: body.experiment });
  bench.draft = {};
  try {
    await bench.deed('sign-on', body);
  } catch (problem) {
    if (!(problem instanceof Unreached)) {
      bench.draft = choice;
      throw problem;
    }
    queue('sign-on', body, localTurn(body, choice), choice.person?.name || choice.guest);
    away();
    bench.redraw();
  }
  main.querySelector('h1')?.scrollIntoView({ block: 'nearest' });
};

/** A card that is read while the gateway is away: whose it is shows when it is back. */
bench.cardAway = (card) => {
  queue(
    'sign-on',
    { card },
    { id: `local-${Date.now()}`, persons: [], guest: 'Card read', opened_us: bench.now(), expected: 0, seen: 0 },
    'a card',
  );
  bench.draft = {};
  away();
  bench.redraw();
};

bench.next = () => {
  bench.handingOver = 0;
  bench.redraw();
  main.querySelector('.names button, input')?.focus();
};

bench.done = async () => {
  const who = names(bench.state.turn?.persons);
  bench.plots.clear();
  bench.finished = bench.state.turn?.id;
  bench.handingOver = Date.now();
  try {
    await bench.deed('done', {});
  } catch (problem) {
    if (!(problem instanceof Unreached)) {
      bench.handingOver = 0;
      throw problem;
    }
    queue('done', {}, null, who);
    away();
  }
  bench.redraw();
  main.querySelector('[data-key="next"]')?.focus();
  const mine = bench.handingOver;
  setTimeout(() => bench.handingOver === mine && mine && bench.next(), HAND_OVER_MS);
};

/* ---- going ---- */

/* So that a reload works while the gateway is away. Browsers allow it only behind a certificate they
   trust, or on the machine itself. */
function keepPage() {
  navigator.serviceWorker?.register('/bench-worker.js', { scope: '/bench/' }).catch(() => {});
}

async function begin() {
  keepPage();
  const safely = () => bench.refresh().catch(bench.failed);
  await bench.refresh();
  if (!bench.state) {
    fill(
      main,
      h(
        'p',
        { class: 'grey-bar' },
        'Server not reached, and nothing is kept here yet. This page tries again by itself.',
      ),
    );
  }
  listen((card) => scan(bench, card).catch(bench.failed));
  follow([`instrument:${id}`], later(80, safely), (reached) => reached || safely());
  setInterval(safely, POLL_MS);
  setInterval(() => (bench.offline || !bench.state) && safely(), RETRY_MS);
  addEventListener('online', safely);
  document.addEventListener('visibilitychange', () => document.hidden || safely());
}

begin().catch(showProblem);
