// Cards around a class: instruments before it and during it, who has what when it ends, paper left over.

import { get } from './api.js';
import { fill, h, later } from './dom.js';
import { follow } from './events.js';
import { capital, mark, names, plural, time } from './words.js';

const instrument = (i) =>
  h(
    'li',
    mark(i.ready ? 'good' : 'bad', `${i.name} ${i.ready ? 'ready' : 'not ready'}`),
    i.problems.length > 0 && h('span', ` ${capital(i.problems.join('; '))}.`),
    i.notes.length > 0 && h('small', { class: 'soft' }, ` ${capital(i.notes.join('; '))}.`),
  );

const group = (kind, title, people) =>
  people.length > 0 &&
  h(
    'details',
    { open: kind !== 'usable' && people.length <= 12 },
    h('summary', mark(kind, `${title}: ${people.length}`)),
    h('p', names(people)),
  );

function ending(e) {
  const where = (p) => (p.where ? `${p.printer} (${p.where})` : p.printer);
  return [
    h('h3', 'Before everybody leaves'),
    h('p', h('strong', e.text)),
    group('usable', 'Usable', e.usable),
    group('note', 'Fewer than expected', e.fewer),
    group('again', 'Better run again', e.again),
    group('none', 'Nothing yet', e.nothing),
    e.paper.length > 0 && [
      h('h3', 'Paper'),
      h(
        'ul',
        { class: 'plain' },
        e.paper.map((p) =>
          h(
            'li',
            `${plural(p.sheets, 'sheet')} of this class came out at ${where(p)}. Take what is left in the tray: shred.`,
          ),
        ),
      ),
    ],
  ];
}

const card = (c) =>
  h(
    'section',
    { class: 'card', 'aria-label': `${c.course}, section ${c.code}` },
    h(
      'h2',
      `${c.course}-${c.code}`,
      h('small', { class: 'soft' }, ` ${time(c.starts_us)} to ${time(c.ends_us)}`),
    ),
    h('p', { class: 'soft' }, c.instruments.length === 0 ? c.text : `Instruments at ${time(c.starts_us)}`),
    h('ul', { class: 'plain' }, c.instruments.map(instrument)),
    c.ending && ending(c.ending),
  );

/** Keeps `place` filled with the classes about to begin, running and just over; returns what ends it. */
export async function classes(place) {
  const load = async () => {
    const { classes: list } = await get('/classes');
    fill(
      place,
      list.length > 0 && [h('h2', 'Classes now'), h('div', { class: 'cards wide' }, list.map(card))],
    );
  };
  await load();
  return follow(
    ['staff'],
    later(600, () => load().catch(() => {})),
  );
}
