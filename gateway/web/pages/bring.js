// Bringing files by hand: from a stick or a folder of a PC without an agent, into one instrument's record.

import { get } from './api.js';
import { entry, same, sendAll, TAKEN_WORDS } from './bring-queue.js';
import { announce, field, fill, h, select } from './dom.js';
import { mark, plural, size } from './words.js';

const MOST = 2000;

function outcome(answer) {
  const links = answer.measurements.map((m) =>
    h('a', { class: 'accession', href: `#/spectrum/${m.id}` }, m.accession),
  );
  if (links.length === 0)
    return [
      mark('note', answer.known ? 'Known, not read' : 'Kept, not read'),
      ' ',
      answer.unread?.line ? `line ${answer.unread.line}: ` : '',
      answer.unread?.text,
    ];
  const known = answer.measurements.every((m) => m.known);
  const words = known ? 'Known already' : 'Taken';
  return [mark(known ? 'none' : 'good', words), ' ', links.map((link, i) => [i > 0 && ', ', link])];
}

function stateOf(one) {
  if (one.state === 'done') return outcome(one.answer);
  if (one.state === 'failed') return [mark('bad', 'Not sent'), ' ', one.text];
  if (one.state === 'left') return [mark('none', 'Not taken'), ' ', one.text];
  return one.state === 'sending' ? 'Being sent…' : mark('none', 'To be sent');
}

const line = (one) => {
  one.said = h('span', { class: 'state' }, stateOf(one));
  return h('li', h('code', one.path), h('small', { class: 'soft' }, size(one.file.size)), one.said);
};

const listed = (list) =>
  list.length > 0 && h('ul', { class: 'plain brought', 'aria-label': 'Chosen files' }, list.map(line));

const count = (list, ...states) => list.filter((one) => states.includes(one.state)).length;

function sums(list) {
  const done = list.filter((one) => one.state === 'done');
  const fresh = done.filter((one) => one.answer.measurements.some((m) => !m.known));
  const unread = done.filter((one) => one.answer.measurements.length === 0);
  return [
    [fresh.length, 'taken'],
    [done.length - fresh.length - unread.length, 'known already'],
    [unread.length, 'kept, not read'],
    [count(list, 'failed'), 'not sent'],
    [count(list, 'left'), 'not taken'],
  ]
    .filter(([n]) => n > 0)
    .map(([n, words]) => `${n} ${words}`)
    .join(', ');
}

/** Choosing: a folder where the browser can, and files one by one everywhere. */
function choosers(chosen) {
  const input = (properties) =>
    h('input', {
      type: 'file',
      multiple: true,
      onchange: (event) => {
        chosen([...event.target.files]);
        event.target.value = '';
      },
      ...properties,
    });
  const folder = input({ webkitdirectory: true });
  return [
    'webkitdirectory' in folder && field('A folder', folder, 'with its subfolders'),
    field('Or files', input({}), 'as many as you like'),
  ];
}

function warnOnLeaving(event) {
  event.preventDefault();
  event.returnValue = '';
}

/** The page's state: the list, whether it is being sent, and the buttons that go with it. */
function bringing(which, parts) {
  const list = [];
  let running = false;
  let stopping = false;
  const send = h('button', { type: 'button', class: 'primary' }, 'Send');
  const stop = h('button', { type: 'button' }, 'Stop');
  const clear = h('button', { type: 'button', class: 'quiet' }, 'Empty the list');
  const bar = h('progress', { max: 1, value: 0, 'aria-label': 'Files sent' });
  const said = h('p', { class: 'summary' });

  const tell = () => {
    const waiting = count(list, 'waiting', 'failed', 'sending');
    const finished = count(list, 'done');
    bar.max = Math.max(1, finished + waiting);
    bar.value = finished;
    send.textContent = finished > 0 || count(list, 'failed') > 0 ? 'Send the rest' : 'Send';
    send.hidden = running || waiting === 0;
    stop.hidden = !running;
    stop.disabled = stopping;
    clear.hidden = running || list.length === 0;
    bar.hidden = list.length === 0;
    which.disabled = running;
    for (const chooser of parts.choosers) chooser.querySelector('input').disabled = running;
    said.textContent = running
      ? `${finished} of ${finished + waiting} sent`
      : list.length === 0
        ? ''
        : [waiting > 0 && `${plural(waiting, 'file')} to be sent`, sums(list)].filter(Boolean).join('; ');
  };
  const changed = (one) => {
    fill(one.said, stateOf(one));
    tell();
  };
  const say = (text) => fill(parts.trouble, text && h('p', { class: 'say bad', role: 'alert' }, text));

  parts.chosen = (files) => {
    const added = files.map(entry).filter((one) => !list.some((old) => same(old, one)));
    const room = MOST - list.length;
    list.push(...added.slice(0, room));
    fill(parts.list, listed(list));
    say(added.length > room && `The first ${MOST} are listed. Send them, empty the list and choose again.`);
    tell();
    announce(said.textContent);
  };
  send.addEventListener('click', async () => {
    running = true;
    stopping = false;
    say('');
    addEventListener('beforeunload', warnOnLeaving);
    tell();
    stop.focus();
    const why = await sendAll(which.value, list, changed, () => stopping);
    removeEventListener('beforeunload', warnOnLeaving);
    running = false;
    tell();
    say(why);
    announce(why || said.textContent);
    if (!send.hidden) send.focus();
  });
  stop.addEventListener('click', () => {
    stopping = true;
    tell();
  });
  clear.addEventListener('click', () => {
    list.length = 0;
    fill(parts.list);
    say('');
    tell();
  });
  tell();
  return {
    head: [said, bar, h('div', { class: 'row' }, send, stop, clear)],
    end: () => {
      stopping = true;
      removeEventListener('beforeunload', warnOnLeaving);
    },
  };
}

export async function bring(main, parameters, search) {
  const { instruments } = await get('/instruments');
  const list = instruments.filter((i) => i.brings);
  if (list.length === 0) {
    fill(main, h('h1', 'Bring files'), h('p', { class: 'nothing' }, 'No instrument is yours to bring files for.'));
    return undefined;
  }
  const which = select(
    'instrument',
    list.map((i) => [i.id, [i.name, i.place].filter(Boolean).join(', ')]),
    search.get('instrument') || list[0].id,
  );
  const parts = { list: h('div'), trouble: h('div') };
  parts.choosers = choosers((files) => parts.chosen(files)).filter(Boolean);
  const work = bringing(which, parts);
  fill(
    main,
    h('h1', 'Bring files'),
    h(
      'p',
      { class: 'soft' },
      'Spectra from a stick, or from a PC without an agent. Each goes to the turn that was open at the time ',
      'written in the file; without such a time, or without a turn, it is unclaimed. It is marked as brought by ',
      'hand by you. Nothing is printed by itself. A file that came before is known and makes no second spectrum.',
    ),
    h(
      'div',
      { class: 'fields' },
      h('div', { class: 'wide' }, field('Instrument that measured them', which)),
      parts.choosers,
    ),
    h('p', { class: 'hint' }, `Taken: ${TAKEN_WORDS}`),
    parts.trouble,
    work.head,
    parts.list,
  );
  return work.end;
}
