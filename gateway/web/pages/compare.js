// Two spectra one above the other, for a person to judge.

import { get } from './api.js';
import { fill, h } from './dom.js';
import { plot } from './plot.js';
import { accession, day, people, time } from './words.js';

async function one(id) {
  const m = await get(`/measurements/${id}`);
  const area = h('div', { class: 'plot' });
  const box = h(
    'section',
    { 'aria-label': m.accession },
    h('h2', h('a', { href: `#/spectrum/${id}` }, accession(m)), ` · ${people(m)}`),
    h(
      'p',
      { class: 'soft' },
      [m.instrument?.name, `${day(m.measured_us)}, ${time(m.measured_us)}`, m.sample]
        .filter(Boolean)
        .join(' · '),
    ),
    area,
  );
  return { box, area, points: await get(`/measurements/${id}/points`), title: m.accession };
}

export async function compare(main, ids) {
  const both = await Promise.all(ids.map(one));
  fill(
    main,
    h('h1', 'Compare these two'),
    h(
      'p',
      { class: 'soft' },
      'Equal noise is a sign of one and the same measurement. Why, a person decides.',
    ),
    h(
      'div',
      { class: 'pair' },
      both.map((b) => b.box),
    ),
  );
  const ends = await Promise.all(both.map((b) => plot(b.area, b.points, { title: b.title })));
  return () => ends.forEach((end) => end());
}
