// Printers: their state in words, and what may be done with them.

import { get, post } from './api.js';
import { act, announce, fill, h, later, showProblem } from './dom.js';
import { follow } from './events.js';
import { ago, mark, plural } from './words.js';

const GOOD = ['ready', 'idle', 'printing', 'processing'];

export function kind(p) {
  if (p.mode !== 'on') return 'note';
  if (!p.state || p.state === 'unknown') return 'unknown';
  return GOOD.includes(p.state) ? 'good' : 'bad';
}

/* It is asked every 10 seconds; that nothing changed is written down once a minute. */
const lastAnswer = (p) =>
  p.seen_us && Date.now() * 1000 - p.seen_us < 90e6 && kind(p) === 'good'
    ? 'just now; asked every 10 seconds'
    : ago(p.seen_us);

function reasonDialog(title, work) {
  const reason = h('input', { name: 'reason', maxlength: 200, required: true, id: 'reason' });
  const form = h(
    'form',
    { method: 'dialog' },
    h('h2', title),
    h('label', { for: 'reason' }, 'Reason'),
    reason,
    h(
      'div',
      { class: 'row' },
      h('button', { class: 'primary', value: 'yes' }, title),
      h('button', { value: 'no', formnovalidate: true }, 'Leave it'),
    ),
  );
  const box = h('dialog', { 'aria-label': title }, form);
  document.body.append(box);
  box.addEventListener('close', () => {
    box.remove();
    if (box.returnValue === 'yes') work(reason.value).catch(showProblem);
  });
  box.showModal();
}

/** `runs`: the reader may pause and resume them. */
export const printers = (runs) => async (main) => {
  const load = async () => {
    const { printers: list } = await get('/printers');
    const deed = (p, verb, text, words) =>
      h(
        'button',
        {
          type: 'button',
          onclick: () =>
            reasonDialog(`${text} ${p.name}`, async (reason) => {
              await post(`/printers/${p.id}/${verb}`, { reason });
              announce(words);
              await load();
            }),
        },
        text,
      );
    const open = (p) => p.mode === 'on';
    fill(
      main,
      h('h1', 'Printers'),
      list.length === 0
        ? h('p', { class: 'nothing' }, 'No printer is set up. Sheets stay in the inboxes.')
        : h(
            'div',
            { class: 'cards' },
            list.map((p) =>
              h(
                'section',
                { class: 'card', 'aria-label': p.name },
                h(
                  'div',
                  { class: 'state-line' },
                  h('h2', p.name),
                  mark(kind(p), (p.state_text || p.state || 'not seen yet').replace(/^is /, '')),
                ),
                h('p', { class: 'soft' }, [p.place, p.where].filter(Boolean).join(', ')),
                !open(p) &&
                  h('p', { class: 'say note' }, `${p.mode}${p.mode_reason ? `: ${p.mode_reason}` : ''}`),
                h(
                  'dl',
                  { class: 'facts' },
                  h('dt', 'Waiting for it'),
                  h('dd', plural(p.waiting || 0, 'sheet')),
                  p.model && [h('dt', 'Model'), h('dd', p.model)],
                  h('dt', 'Paper'),
                  h('dd', p.paper || ''),
                  h('dt', 'Last answer'),
                  h('dd', lastAnswer(p)),
                ),
                runs && h(
                  'div',
                  { class: 'row' },
                  open(p)
                    ? [
                        deed(p, 'pause', 'Pause', 'Paused.'),
                        deed(p, 'drain', 'Drain', 'What waits goes elsewhere.'),
                      ]
                    : act('Resume', async () => {
                        await post(`/printers/${p.id}/resume`, { reason: 'Works again.' });
                        await load();
                      }),
                ),
              ),
            ),
          ),
    );
  };
  await load();
  return follow(['fleet'], later(500, load));
};
