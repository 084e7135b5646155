// The instruments, printers and deliveries: what works now, and what did not today.

import { get } from './api.js';
import { deliveries } from './fleet-deliveries.js';
import { kind, printers } from './fleet-printers.js';
import { fill, h, later, showProblem } from './dom.js';
import { follow } from './events.js';
import { frameFor, has, router, tabBar } from './shell.js';
import { ago, mark, moment, percent, plural, size } from './words.js';

const STATE = {
  ready: ['good', 'Ready'],
  up: ['good', 'up'],
  silent: ['bad', 'Silent'],
  'no agent': ['none', 'Not joined yet'],
  paused: ['note', 'Paused'],
  unknown: ['unknown', 'Unknown'],
  full: ['bad', 'Spool full'],
};
const state = (name) => mark(...(STATE[name] || ['note', name]));

function dayBar(today) {
  if (!today) return h('p', { class: 'soft' }, 'No record of today yet.');
  const part = (kind) => {
    const span = h('span', { class: kind });
    span.style.width = `${100 * (today[kind] || 0)}%`;
    return span;
  };
  const words = [
    `up ${percent(today.up)}`,
    `down ${percent(today.down)}`,
    `unknown ${percent(today.unknown)}`,
  ];
  const lost = today.hours_lost > 0 ? `; ${today.hours_lost.toFixed(1)} hours lost` : '';
  return [
    h('div', { class: 'day-bar', 'aria-hidden': 'true' }, ['up', 'down', 'unknown'].map(part)),
    h('small', `Today: ${words.join(', ')}${lost}`),
    today.unknown > 0 && h('small', { class: 'soft' }, '. Unknown: the gateway itself was not running.'),
  ];
}

const faultLine = (f) =>
  h('li', moment(f.from_us), ' to ', f.to_us ? moment(f.to_us) : 'now', ': ', f.text);

/** The last weeks: with few instruments hours lost and the faults themselves say more than a mean. */
function record(r) {
  if (!r) return null;
  const faults = r.count ? `, ${plural(r.count, 'fault')}` : ', no fault';
  const mean = r.mtbf_hours === null ? '' : `; on the mean ${hours(r.mtbf_hours)} from fault to fault`;
  const line = `Last ${r.days} days: ${hours(r.hours_lost)} lost${faults}${mean}`;
  if (!r.count) return h('p', h('small', line));
  return h(
    'details',
    h('summary', h('small', line)),
    h('ul', { class: 'plain' }, [...r.faults].reverse().map(faultLine)),
    r.count > r.faults.length && h('p', h('small', `The newest ${r.faults.length} of ${r.count}.`)),
  );
}

const hours = (n) => `${n < 10 ? n.toFixed(1) : Math.round(n)} hours`;

function agent(a) {
  const facts = [
    ['Last seen', h('span', ago(a.seen_us), ' ', h('small', { class: 'soft' }, moment(a.seen_us)))],
    [
      'Waiting there',
      a.queue_count
        ? `${plural(a.queue_count, 'file')}, ${size(a.queue_bytes)}, oldest ${ago(a.queue_oldest_us)}`
        : 'nothing',
    ],
    a.spool_stopped && ['Spool', mark('bad', 'full: nothing is taken')],
    Math.abs(a.offset_us || 0) > 2e6 && [
      'Its clock',
      `${Math.abs(a.offset_us / 1e6).toFixed(0)} s ${a.offset_us > 0 ? 'fast' : 'slow'} (corrected)`,
    ],
    a.disk_free !== undefined && a.disk_free !== null && ['Free disk', size(a.disk_free)],
    a.folders?.length && [
      'Folders',
      a.folders.map((f) =>
        h('div', h('code', f.path || f), ' ', f.reachable === false && mark('bad', 'not reachable')),
      ),
    ],
    a.ledger_ok === false && ['Ledger', mark('bad', 'does not fit what this agent was told')],
    a.version && ['Version', a.version],
  ];
  return h(
    'div',
    h('div', 'Agent ', state(a.state)),
    h(
      'dl',
      { class: 'facts' },
      facts.filter(Boolean).map(([name, value]) => [h('dt', name), h('dd', value)]),
    ),
  );
}

/* Ready as a whole: the agent is heard and the first printer, if there is one, can print. */
function printerFails(i, all) {
  const p = i.printer && all.find((one) => one.name === i.printer);
  return Boolean(p) && ['bad', 'note'].includes(kind(p));
}

const printerWords = (i, all) => {
  const p = all.find((one) => one.name === i.printer);
  return `${i.printer}, ${(p?.mode === 'on' ? p.state_text || p.state : p?.mode) || 'not seen yet'}`;
};

function summary(list, all) {
  if (list.length === 0) return 'No instrument is set up yet.';
  const joined = list.filter((i) => i.state !== 'no agent');
  const ready = joined.filter((i) => i.state === 'ready' && !printerFails(i, all)).length;
  const waiting = list.length - joined.length;
  const told = joined.length === 0
    ? []
    : ready === joined.length
      ? mark('good', ready === 1 ? 'Ready' : `All ${ready} ready`)
      : mark('bad', `${ready} of ${joined.length} ready`);
  return [told, ' ', waiting > 0 && mark('none', `${waiting} not joined yet`)];
}

const instrument = (brings, all) => (i) => {
  return h(
    'section',
    { class: 'card', 'aria-label': i.name },
    h('div', { class: 'state-line' }, h('h2', i.name), state(i.state)),
    h('p', { class: 'soft' }, i.place),
    i.faults?.length > 0 &&
      h(
        'div',
        { class: 'say note' },
        h('strong', 'Faults today'),
        h(
          'ul',
          { class: 'plain' },
          i.faults.map(faultLine),
        ),
      ),
    dayBar(i.today),
    record(i.record),
    h(
      'dl',
      { class: 'facts' },
      h('dt', 'Last spectrum'),
      h(
        'dd',
        i.last_spectrum_us
          ? [ago(i.last_spectrum_us), ' ', h('small', { class: 'soft' }, moment(i.last_spectrum_us))]
          : 'none yet',
      ),
      i.printer && [h('dt', 'Printer'), h('dd', printerFails(i, all) ? mark('bad', printerWords(i, all)) : printerWords(i, all))],
    ),
    (i.agents || []).map(agent),
    h('p', h('a', { href: `/bench/${i.id}` }, 'Its bench page')),
    brings && h('p', h('a', { href: `/staff#/bring?instrument=${i.id}` }, 'Bring its files by hand')),
  );
};

const instruments = (brings) => async (main) => {
  const load = async () => {
    const data = await get('/fleet');
    const order = (i) => (i.state === 'ready' && !printerFails(i, data.printers) ? 1 : 0);
    const list = [...data.instruments].sort((a, b) => order(a) - order(b) || a.name.localeCompare(b.name));
    fill(
      main,
      h('h1', 'Instruments'),
      h(
        'p',
        { class: 'summary' },
        summary(list, data.printers),
      ),
      data.gateway?.up_since_us &&
        h('p', { class: 'soft' }, 'Gateway running since ', moment(data.gateway.up_since_us), '.'),
      h('div', { class: 'cards' }, list.map(instrument(brings, data.printers))),
    );
  };
  await load();
  const timer = setInterval(() => load().catch(showProblem), 30000);
  const end = follow(
    ['fleet'],
    later(500, () => load().catch(showProblem)),
  );
  return () => {
    clearInterval(timer);
    end();
  };
};

async function begin() {
  const me = await frameFor('fleet', 'technician', 'administrator', 'instructor', 'demonstrator');
  if (!me) return;
  const runs = has(me, 'technician', 'administrator');
  const first = instruments(has(me, 'technician', 'administrator', 'instructor'));
  await router(
    { '': first, printers: printers(runs), deliveries },
    tabBar([
      ['', 'Instruments'],
      ['printers', 'Printers'],
      ['deliveries', 'Deliveries'],
    ]),
  );
}

begin().catch(showProblem);
