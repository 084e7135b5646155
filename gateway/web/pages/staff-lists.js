// Three lists for staff: spectra without a name, things to look at, files that could not be read.

import { address, get, post } from './api.js';
import { assignInline } from './assign.js';
import { act, fill, h, later } from './dom.js';
import { follow } from './events.js';
import { removeFile } from './removal.js';
import { accession, day, experiment, moment, section, size, time, verdict } from './words.js';

const link = (m) => h('a', { href: `#/spectrum/${m.id}` }, accession(m));

export const unclaimed = (everything) => async (main) => {
  const load = async () => {
    const { measurements: list } = await get('/unclaimed');
    fill(
      main,
      h('h1', 'Unclaimed'),
      h(
        'p',
        { class: 'soft' },
        'Spectra without a person. A wrong name is worse than none: ask when in doubt.',
      ),
      list.length === 0
        ? h(
            'p',
            { class: 'nothing' },
            everything ? 'Every spectrum has its name.' : 'Every spectrum of your sections has its name.',
          )
        : list.map((m) =>
            h(
              'section',
              { class: 'card', 'aria-label': m.accession },
              h(
                'div',
                { class: 'state-line' },
                h('h2', link(m), ` · ${day(m.measured_us)}, ${time(m.measured_us)}`),
                verdict(m),
              ),
              h(
                'p',
                { class: 'soft' },
                [
                  m.instrument?.name,
                  m.instrument?.place,
                  section(m.section),
                  experiment(m),
                  m.sample || m.title,
                ]
                  .filter(Boolean)
                  .join(' · '),
              ),
              assignInline(m, load),
            ),
          ),
    );
  };
  await load();
  return follow(['staff'], later(400, load));
};

const NOTICE = {
  'same-data': 'Compare these two',
  'saved-again': 'Saved again',
  unread: 'File not read',
  instrument: 'Instrument',
  plates: 'Plates',
};

/* Settled for everybody and for good, so it is asked once more. */
function settle(n, load) {
  const place = h('span', { class: 'row' });
  const button = (text, work, kind) => act(text, work, { kind, 'data-key': `settle-${n.id}` });
  const ask = () =>
    fill(
      place,
      h('span', 'Settled for all staff?'),
      button(
        'Yes, settled',
        async () => {
          await post(`/notices/${n.id}/settle`);
          await load();
        },
        'primary',
      ),
      act('Not yet', rest, { kind: 'quiet' }),
    );
  const rest = () => fill(place, button('Mark as settled', ask, 'quiet'));
  rest();
  return place;
}

function notice(n, load) {
  const two = [n.measurement, n.other].filter((m) => m?.id);
  return h(
    'section',
    { class: 'card', 'aria-label': NOTICE[n.kind] || n.kind },
    h(
      'div',
      { class: 'state-line' },
      h('h2', NOTICE[n.kind] || n.kind),
      h('small', { class: 'soft' }, moment(n.at_us)),
    ),
    h('p', [n.instrument, n.text].filter(Boolean).join(': ')),
    n.path && h('p', h('code', n.path)),
    h(
      'div',
      { class: 'row' },
      two.length === 2
        ? h(
            'a',
            { class: 'button', href: `#/compare/${two[0].id}/${two[1].id}` },
            `Compare ${two[0].accession || ''} and ${two[1].accession || ''}`,
          )
        : two.map((m) => h('span', 'Spectrum ', link(m))),
      settle(n, load),
    ),
  );
}

export async function notices(main) {
  const load = async () => {
    const { notices: list } = await get('/notices');
    fill(
      main,
      h('h1', 'Notices'),
      list.length === 0
        ? h('p', { class: 'nothing' }, 'Nothing to look at.')
        : list.map((n) => notice(n, load)),
    );
  };
  await load();
  return follow(['staff'], later(400, load));
}

export async function unread(main) {
  const { objects } = await get('/unread');
  const place = (o) => (o.line ? `line ${o.line}${o.column ? `, column ${o.column}` : ''}: ` : '');
  fill(
    main,
    h('h1', 'Unread files'),
    h('p', { class: 'soft' }, 'Kept as they came, with the reason why they could not be read as a spectrum.'),
    objects.length === 0
      ? h('p', { class: 'nothing' }, 'Every file was read.')
      : h(
          'div',
          { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Unread files' },
          h(
            'table',
            h(
              'thead',
              h(
                'tr',
                ['Received', 'Instrument', 'File', 'Reason', 'Bytes'].map((t) =>
                  h('th', { scope: 'col' }, t),
                ),
              ),
            ),
            h(
              'tbody',
              objects.map((o) =>
                h(
                  'tr',
                  h('td', moment(o.received_us)),
                  h('td', o.instrument),
                  h('td', h('code', o.path), h('br'), h('small', size(o.size))),
                  h('td', place(o), o.text),
                  h(
                    'td',
                    h(
                      'a',
                      {
                        class: 'button',
                        href: address(`/objects/${o.sha256}/file`),
                        download: true,
                        'aria-label': `Original of ${o.path}`,
                      },
                      'Original',
                    ),
                    removeFile(o, () => unread(main)),
                  ),
                ),
              ),
            ),
          ),
        ),
  );
}
