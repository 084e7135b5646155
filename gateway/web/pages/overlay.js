// A sheet that shows one's spectrum with up to four others of one's own.

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
      const others = measurements.filter((o) => o.id !== m.id && o.technique === m.technique);
      if (!others.length) {
        fill(body, h('p', { class: 'soft' }, 'There is no other spectrum of yours to draw with it.'));
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
        h('ul', { class: 'plain' }, others.slice(0, 20).map((o) => choice(o, changed))),
        h('p', sheet),
      );
      changed();
    },
    { once: true },
  );
  return fold;
}
