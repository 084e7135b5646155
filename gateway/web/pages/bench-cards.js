// Bench cards, PINs and numbers. A code reader types as a keyboard does and ends with Enter: its
// digits are caught whatever has the focus.

import { post, Unreached } from './api.js';
import { act, announce, field, h, whenSubmitted } from './dom.js';
import { names } from './words.js';

const CARD_DIGITS = 26;
const GAP_MS = 2000;

/** Whether the digits are a card's: two check digits by ISO/IEC 7064, MOD 97-10. */
export function isCard(text) {
  const digits = text.replace(/[\s-]/g, '');
  if (!/^\d{26}$/.test(digits)) return false;
  let rest = 0;
  for (const digit of digits) rest = (rest * 10 + Number(digit)) % 97;
  return rest === 1;
}

/** Calls `found(digits)` when a reader has typed a card; what it typed into a field is taken out. */
export function listen(found) {
  let digits = '';
  let last = 0;
  let field_ = null;
  let before = '';
  addEventListener(
    'keydown',
    (event) => {
      if (event.key === 'Enter' && digits.length >= CARD_DIGITS) {
        const text = digits.slice(-CARD_DIGITS);
        digits = '';
        event.preventDefault();
        event.stopImmediatePropagation();
        if (field_ && field_ === document.activeElement) {
          field_.value = before;
          field_.dispatchEvent(new Event('input', { bubbles: true }));
        }
        found(text);
        return;
      }
      if (!/^\d$/.test(event.key) || event.timeStamp - last > GAP_MS) digits = '';
      if (!/^\d$/.test(event.key)) return;
      if (!digits) {
        field_ = 'value' in document.activeElement ? document.activeElement : null;
        before = field_?.value ?? '';
      }
      digits = (digits + event.key).slice(-200);
      last = event.timeStamp;
    },
    true,
  );
}

/** The plain field: a PIN or a number typed by hand, or a reader that the page did not notice. */
export function cardField(bench) {
  const box = h('input', {
    name: 'card',
    required: true,
    maxlength: 64,
    autocomplete: 'off',
    spellcheck: 'false',
    inputmode: 'numeric',
    'data-key': 'card',
  });
  const form = h(
    'form',
    { class: 'card-field' },
    h(
      'div',
      { class: 'row' },
      field('Card, PIN or number', box),
      h('button', { class: 'huge' }, 'This is me'),
    ),
  );
  return whenSubmitted(form, async ({ card }) => {
    box.value = '';
    await scan(bench, card);
  });
}

function newDraft(who, before) {
  return { person: who.person, section: who.section, pass: [who.pass], takesOver: before.takesOver };
}

async function answerQuestion(bench, who) {
  const { question, turn } = bench.state;
  const mine = turn?.persons?.some((p) => p.id === who.person.id);
  const body = mine ? { same: true } : { pass: who.pass, section: who.section.id };
  await bench.deed('answer', { measurement: question.measurement.id, ...body });
}

/** What a card does depends on what the page shows. */
export async function scan(bench, text) {
  let who;
  try {
    who = await post(`/bench/${bench.id}/identify`, { card: text });
  } catch (problem) {
    if (problem instanceof Unreached && isCard(text)) return bench.cardAway(text);
    throw problem;
  }
  const { draft, state } = bench;
  announce(who.person.name);
  bench.handingOver = 0;
  bench.shown = null;
  if (state.question) return answerQuestion(bench, who);
  if (who.mine) return bench.deed('still', {});
  if (draft.person?.id === who.person.id) return document.querySelector('[data-key="start"]')?.click();
  if (state.turn && !draft.takesOver) bench.shown = who;
  else if (draft.person) {
    draft.partner = '';
    draft.joined = [...(draft.joined || []).filter((p) => p.id !== who.person.id), who.person];
    draft.pass = [...(draft.pass || []), who.pass].slice(0, 8);
  } else bench.draft = newDraft(who, draft);
  bench.redraw(true);
  return undefined;
}

/** A card while another's turn is open: hand over, together, or wait. */
export function shownPanel(bench) {
  const who = bench.shown;
  const close = () => {
    bench.shown = null;
    bench.redraw();
  };
  const does = (verb) => async () => {
    await bench.deed(verb, { pass: who.pass });
    close();
  };
  return h(
    'section',
    { class: 'question', 'aria-label': 'Hand over?' },
    h('h1', `${who.person.name}?`),
    h('p', `${names(who.open) || 'A visitor'} is measuring.`),
    h(
      'div',
      { class: 'row big' },
      act(
        `Hand over to ${who.person.name}`,
        async () => {
          bench.draft = newDraft(who, { takesOver: true });
          bench.shown = null;
          bench.redraw(true);
        },
        { kind: 'primary huge', key: 'hand-over' },
      ),
      who.open.length > 0 && act('Measure together', does('join'), { kind: 'huge', key: 'together' }),
      act('Wait in line', does('wait'), { kind: 'huge', key: 'wait' }),
      h('button', { type: 'button', class: 'quiet', onclick: close }, 'Cancel'),
    ),
    bench.state.waiting?.offered &&
      bench.state.waiting.people.length === 0 &&
      h('p', { class: 'say' }, 'Many are waiting: a list may help. Nobody has to use it.'),
  );
}

/** The waiting list, where anybody stands in it; the first one is called. */
export function waitingPanel(bench) {
  const people = bench.state.waiting?.people || [];
  if (people.length === 0) return null;
  const leave = (p) => () => bench.deed('leave', { person: p.id });
  return h(
    'section',
    { class: 'say waiting', 'aria-label': 'Waiting list' },
    h('p', h('strong', `Next in line: ${people[0].name}`)),
    h(
      'ol',
      people.map((p) =>
        h('li', p.name, ' ', act('Leaves the line', leave(p), { kind: 'quiet', key: `leave-${p.id}` })),
      ),
    ),
  );
}

/** "Not teaching: pause", and going on. */
export function pausePanel(bench) {
  const { instrument } = bench.state;
  const pause = (minutes) => async () => {
    await post(`/instruments/${bench.id}/pause`, { minutes });
    await bench.refresh();
  };
  if (instrument.paused) return null;
  return h(
    'details',
    { class: 'pause' },
    h('summary', 'Not teaching: pause'),
    h('p', 'Nothing is taken from this instrument meanwhile.'),
    h(
      'div',
      { class: 'row' },
      act('For an hour', pause(60), { key: 'pause-60' }),
      act('For four hours', pause(240), { key: 'pause-240' }),
    ),
  );
}
