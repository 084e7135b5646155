// One spectrum with all that is known of it; used for students and for staff.

import { address, get, post } from './api.js';
import { act, announce, fill, h, later, tick } from './dom.js';
import { follow } from './events.js';
import { overlay } from './overlay.js';
import { plot } from './plot.js';
import {
  accession,
  capital,
  day,
  deliveryKind,
  deliveryState,
  experiment,
  moment,
  names,
  people,
  rule,
  section,
  time,
  verdict,
} from './words.js';

const fact = (name, value) => value && [h('dt', name), h('dd', value)];

function facts(m) {
  const clock = m.clock_corrected
    ? ' (clock corrected)'
    : m.time_source === 'export'
      ? ' (time of export)'
      : '';
  return h(
    'dl',
    { class: 'facts' },
    fact('Measured', `${day(m.measured_us)}, ${time(m.measured_us)}${clock}`),
    fact('Instrument', m.instrument && `${m.instrument.name}, ${m.instrument.place}`),
    fact('Person', people(m)),
    fact('Section', section(m.section)),
    fact('Experiment', experiment(m)),
    fact('Sample', m.sample),
    fact('Kind', m.kind),
    fact('Preparation', m.preparation),
    fact('Plates', m.plates),
    fact('Name got there', rule(m.rule)),
    fact('File', m.captures?.[0]?.brought_by && `brought by hand by ${m.captures[0].brought_by}`),
  );
}

function remarks(m) {
  if (!m.remarks?.length) return null;
  return h(
    'section',
    { 'aria-label': 'Remarks' },
    m.remarks.map((remark) =>
      h(
        'div',
        { class: 'remark' },
        h('p', h('strong', capital(remark.text))),
        remark.advice && h('p', remark.advice),
      ),
    ),
  );
}

const shapeWords = (band) =>
  [{ s: 'strong', m: 'medium', w: 'weak' }[band.strength] || band.strength, band.shape === 'broad' && 'broad']
    .filter(Boolean)
    .join(', ');

function bandTable(bands) {
  if (!bands?.length) return null;
  return h(
    'details',
    h('summary', `Bands (${bands.length})`),
    h(
      'div',
      { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Bands' },
      h(
        'table',
        h(
          'thead',
          h(
            'tr',
            h('th', { class: 'number', scope: 'col' }, 'cm⁻¹'),
            h('th', { class: 'number', scope: 'col' }, '%T'),
            h('th', { class: 'number', scope: 'col' }, 'Absorbance'),
            h('th', { class: 'number', scope: 'col' }, 'Width'),
            h('th', { scope: 'col' }, 'Strength'),
          ),
        ),
        h(
          'tbody',
          bands.map((b) =>
            h(
              'tr',
              h('td', { class: 'number' }, Math.round(b.position)),
              h(
                'td',
                { class: 'number' },
                b.transmittance === undefined || b.transmittance === null
                  ? ''
                  : (100 * b.transmittance).toFixed(0),
              ),
              h('td', { class: 'number' }, b.absorbance?.toFixed(2) ?? ''),
              h('td', { class: 'number' }, b.width?.toFixed(0) ?? ''),
              h('td', shapeWords(b)),
            ),
          ),
        ),
      ),
    ),
  );
}

function downloads(m, original) {
  const at = (end) => address(`/measurements/${m.id}/${end}`);
  const link = (end, text) => h('a', { class: 'button', href: at(end), download: true }, text);
  return h(
    'section',
    { 'aria-labelledby': 'get' },
    h('h2', { id: 'get' }, 'Download'),
    h(
      'div',
      { class: 'downloads' },
      link('sheet.pdf', 'Sheet (PDF)'),
      m.exports && original && link('file', 'Original file'),
      m.exports && link('jcamp', 'JCAMP-DX'),
      m.exports && link('csv', 'CSV'),
    ),
  );
}

/** Each state it went through, oldest first. */
const way = (d) =>
  d.events?.length > 1 &&
  h(
    'details',
    h('summary', 'How it went'),
    h(
      'ol',
      { class: 'plain' },
      // A job that is made and one that is under way have one reason: it is told once.
      [...d.events]
        .reverse()
        .filter((e, i, all) => e.reason !== all[i - 1]?.reason)
        .map((e) => h('li', moment(e.at_us), ' ', h('span', { class: 'soft' }, e.reason))),
    ),
  );

/** What its owner may decide about a sheet on its way. */
function decisions(d, refresh) {
  const deed = (text, verb, body = {}) =>
    act(
      text,
      async () => {
        await post(`/deliveries/${d.id}/${verb}`, body);
        await refresh();
      },
      { key: `${verb}-${d.id}-${text}` },
    );
  if (d.state === 'asking')
    return [
      deed('Print there', 'answer', { answer: 'print' }),
      deed('Inbox only', 'answer', { answer: 'inbox' }),
    ];
  if (d.state === 'waiting') return [deed('Take back', 'cancel')];
  return d.state === 'failed' ? [deed('Try again', 'retry')] : [];
}

function deliveries(m, own, refresh) {
  const list = m.deliveries || [];
  if (m.hidden) return null;
  return h(
    'section',
    { 'aria-labelledby': 'sent' },
    h('h2', { id: 'sent' }, 'Printed and mailed'),
    list.length === 0
      ? h('p', { class: 'soft' }, 'Not printed and not mailed. It is in the inbox.')
      : h(
          'ul',
          { class: 'plain' },
          list.map((d) =>
            h(
              'li',
              deliveryState(d),
              ' ',
              d.state !== 'done' && `${deliveryKind(d)}: `,
              h(
                'span',
                { class: 'soft' },
                [d.printer, d.reason].filter(Boolean).join(' · '),
                ' ',
                moment(d.changed_us),
              ),
              own && h('div', { class: 'row' }, decisions(d, refresh)),
              way(d),
            ),
          ),
        ),
  );
}

function history(m) {
  const stamps = m.stamps || [];
  return h(
    'details',
    h('summary', `History (${stamps.length})`),
    h(
      'ol',
      stamps.map((s) =>
        h(
          'li',
          h('strong', m.hidden ? 'Name hidden' : (s.persons || []).join(', ') || 'Nobody'),
          ', ',
          rule(s.rule),
          s.reason && `: ${s.reason}`,
          h('br'),
          h(
            'small',
            [
              s.section && `section ${s.section}`,
              s.experiment,
              s.sample,
              s.kind,
              s.author_name && `by ${s.author_name}`,
            ]
              .filter(Boolean)
              .join(' · '),
            ' ',
            moment(s.at_us),
          ),
        ),
      ),
    ),
  );
}

function files(m) {
  const captures = m.captures || [];
  return h(
    'details',
    h('summary', `Files (${captures.length})`),
    h(
      'ul',
      captures.map((c) =>
        h(
          'li',
          h('code', c.path),
          ' ',
          h(
            'small',
            'received ',
            moment(c.received_us),
            c.brought_by && `, brought by hand by ${c.brought_by}`,
            c.known && ', the same bytes had come before',
          ),
        ),
      ),
    ),
    h('p', { class: 'soft' }, (m.renditions || []).map((r) => `${r.format}, ${r.points} points`).join('; ')),
  );
}

/** The buttons of the person whose spectrum it is. */
function ownActs(m, refresh) {
  const large = tick('large_print', 'Large print', false);
  return h(
    'section',
    { class: 'card', 'aria-label': 'What to do with it' },
    m.counts
      ? h('p', h('span', { class: 'tag counts' }, '⚑ This one is for my report'))
      : act(
          'This one for my report',
          async () => {
            await post(`/measurements/${m.id}/counts`);
            announce('This one is for the report.');
            await refresh();
          },
          { kind: 'primary', key: 'counts' },
        ),
    h(
      'div',
      { class: 'row' },
      act(
        m.deliveries?.some((d) => d.kind === 'print') ? 'Print again' : 'Print',
        async () => {
          const made = await post(`/measurements/${m.id}/print`, {
            large_print: large.querySelector('input').checked,
          });
          await refresh();
          announce(made?.text || 'On its way to the printer.');
        },
        { key: 'print' },
      ),
      large,
    ),
  );
}

/**
 * Shows measurement `id` in `home`. `extra(m, refresh)` gives what a role may do besides, `last(m)` what
 * stands at the end; `topics` are those that tell what becomes of its sheets. Returns a function that ends it.
 */
export async function showSpectrum(home, id, { own = false, extra, last, topics = [] } = {}) {
  let endPlot = null;
  const sent = h('div');
  const area = h('div', { class: 'plot' }, h('p', { class: 'soft' }, 'Drawing…'));
  const refresh = async () => {
    const m = await get(`/measurements/${id}`);
    fill(
      home,
      h(
        'div',
        { class: 'title-line' },
        h('h1', m.sample || m.title || 'Spectrum'),
        accession(m),
        m.kept === 'again' && h('span', { class: 'tag' }, 'set aside to run again'),
      ),
      h('p', { class: 'verdict-line' }, verdict(m)),
      h(
        'div',
        { class: 'two' },
        h('div', area, remarks(m), bandTable(m.bands), history(m), files(m)),
        h(
          'div',
          own && ownActs(m, refresh),
          extra?.(m, refresh),
          downloads(m, !m.hidden),
          own && overlay(m),
          h('section', { 'aria-label': 'Facts' }, h('h2', 'Facts'), facts(m)),
          fill(sent, deliveries(m, own, refresh)),
          last?.(m),
        ),
      ),
    );
    return m;
  };
  const m = await refresh();
  try {
    endPlot = await plot(area, await get(`/measurements/${id}/points`), {
      title: `${m.sample || 'Spectrum'} ${m.accession}${m.hidden ? '' : ', ' + names(m.persons)}`,
    });
  } catch (problem) {
    fill(area, h('p', { class: 'say bad' }, problem.message));
  }
  const end =
    topics.length > 0 &&
    follow(
      topics,
      later(200, async () => fill(sent, deliveries(await get(`/measurements/${id}`), own, refresh))),
    );
  return Object.assign(
    () => {
      endPlot?.();
      end && end();
    },
    { refresh },
  );
}
