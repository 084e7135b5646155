// A sheet that shows one's spectrum with up to four others: one's own, and references of the course.

import { address, get } from './api.js';
import { fill, h } from './dom.js';
import { when } from './words.js';

const MOST = 4;

function choice(m, changed) {
  const box = h('input', { type: 'checkbox', value: m.id, onchange: changed });
  return h('li', h('label', { class: 'tick' }, box, ` ${m.accession} ${m.sample || m.title || ''}, ${when(m.measured_us)}`));
}

// Fetched when the fold is opened: most visits need no overlay.
export function overlay(m) {
  const body = h('div', h('p', { class: 'soft' }, 'Loading…'));
  const fold = h('details', h('summary', 'Overlay with others'), body);
  fold.addEventListener(
    'toggle',
    async () => {
      const { measurements } = await get('/me/measurements');
      const fits = (o) => o.id !== m.id && o.technique === m.technique;
      const own = measurements.filter(fits).slice(0, 20);
      const references = (m.references || []).filter((o) => fits(o) && !own.some((one) => one.id === o.id));
      if (!own.length && !references.length) {
        fill(body, h('p', { class: 'soft' }, 'There is no other spectrum to draw with it.'));
        return;
      }
      const sheet = h('a', { class: 'button', download: true }, 'Overlay sheet (PDF)');
      const changed = () => {
        const picked = [...body.querySelectorAll('input:checked')].map((box) => box.value);
        for (const box of body.querySelectorAll('input:not(:checked)')) box.disabled = picked.length >= MOST;
        if (picked.length) sheet.href = address(`/measurements/${m.id}/sheet.pdf?with=${picked.join(',')}`);
        else sheet.removeAttribute('href');
        sheet.setAttribute('aria-disabled', picked.length ? 'false' : 'true');
      };
      fill(
        body,
        h('p', { class: 'soft' }, `Choose one to ${MOST}; each gets its own dashes.`),
        own.length > 0 && h('ul', { class: 'plain' }, own.map((o) => choice(o, changed))),
        references.length > 0 && [
          h('p', 'References of the course:'),
          h('ul', { class: 'plain' }, references.map((o) => choice(o, changed))),
        ],
        h('p', sheet),
      );
      changed();
    },
    { once: true },
  );
  return fold;
}
