// How states, times and names are said. One word for one thing, and a shape beside each word.

import { h, svg } from './dom.js';

const SHAPES = {
  usable: [
    ['circle', { cx: 10, cy: 10, r: 9, fill: 'none', 'stroke-width': 2 }],
    ['path', { d: 'M5.5 10.5l3 3 6-7', fill: 'none', 'stroke-width': 2.2 }],
  ],
  note: [
    ['path', { d: 'M10 2L19 18H1Z', fill: 'none', 'stroke-width': 2, 'stroke-linejoin': 'round' }],
    ['path', { d: 'M10 8v4.5M10 14.5v1.6', 'stroke-width': 2 }],
  ],
  again: [
    ['rect', { x: 1.5, y: 1.5, width: 17, height: 17, rx: 2, fill: 'none', 'stroke-width': 2 }],
    ['path', { d: 'M6 6l8 8M14 6l-8 8', 'stroke-width': 2.2 }],
  ],
  none: [['path', { d: 'M4 10h12', 'stroke-width': 2 }]],
  unknown: [
    ['circle', { cx: 10, cy: 10, r: 8.5, fill: 'none', 'stroke-width': 2, 'stroke-dasharray': '3 3' }],
  ],
};
const LIKE = { good: 'usable', bad: 'again' };

export function shape(kind) {
  return svg(
    'svg',
    { viewBox: '0 0 20 20', stroke: 'currentColor', 'aria-hidden': 'true', focusable: 'false' },
    (SHAPES[kind] || SHAPES[LIKE[kind]] || SHAPES.none).map(([tag, properties]) => svg(tag, properties)),
  );
}

/** A shape with its word. `kind`: usable, note, again, none, good, bad, unknown. */
export const mark = (kind, text) => h('span', { class: `mark ${kind}` }, shape(kind), text);

export const VERDICT = { usable: 'Usable', note: 'Usable, with a note', again: 'Better run again' };
export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
export const verdictWords = (m) => capital(m.verdict_words || VERDICT[m.verdict] || 'Not judged');
export const verdict = (m) => mark(VERDICT[m.verdict] ? m.verdict : 'none', verdictWords(m));

export const KINDS = [
  ['sample', 'Sample'],
  ['repeat', 'Repeat'],
  ['blank', 'Blank (clean plates)'],
  ['background', 'Background'],
  ['standard', 'Standard'],
  ['film check', 'Film check'],
  ['demonstration', 'Demonstration'],
];
export const PREPARATIONS = [
  ['', 'Not said'],
  ['liquid film', 'Liquid film'],
  ['cast film', 'Cast film'],
  ['mull', 'Mull'],
  ['pellet', 'Pellet'],
  ['ATR', 'ATR'],
  ['solution', 'Solution'],
  ['gas', 'Gas'],
  ['other', 'Other'],
];
export const PLATES = [
  ['', 'Not said'],
  ['NaCl', 'NaCl'],
  ['KBr', 'KBr'],
  ['CaF2', 'CaF2'],
  ['ZnSe', 'ZnSe'],
  ['CsI', 'CsI'],
  ['diamond', 'Diamond'],
  ['none', 'None'],
];

const RULES = {
  turn: 'from the turn at the bench',
  identity: 'from the file’s name or label',
  nobody: 'nobody was signed on',
  bench: 'answered at the bench',
  claim: 'claimed',
  staff: 'set by staff',
  'turn entered later': 'from a turn entered afterwards',
  erased: 'name removed later',
};
export const rule = (name) => RULES[name] || name || '';

const DELIVERY = {
  waiting: ['none', 'Waiting'],
  sending: ['none', 'Being sent'],
  printing: ['none', 'Printing'],
  failed: ['bad', 'Failed'],
  uncertain: ['note', 'Not certain'],
  asking: ['note', 'Asking: another room?'],
  inbox: ['good', 'In the inbox only'],
  cancelled: ['none', 'Taken back'],
};
export const deliveryState = (d) =>
  mark(
    ...(d.state === 'done'
      ? ['good', d.kind === 'mail' ? 'Mailed' : 'Printed']
      : DELIVERY[d.state] || ['none', d.state]),
  );
/** Its reason, marked as its state is: where the reason says it all. */
export const deliveryReason = (d) =>
  mark(d.state === 'done' ? 'good' : (DELIVERY[d.state] || ['none'])[0], d.reason);
export const deliveryKind = (d) => (d.kind === 'mail' ? 'Mail' : 'Print');

const date = (us) => new Date(us / 1000);
const TIME = new Intl.DateTimeFormat(undefined, { hour: '2-digit', minute: '2-digit', hourCycle: 'h23' });
const DAY = new Intl.DateTimeFormat(undefined, { weekday: 'long', day: 'numeric', month: 'long' });
const DAY_YEAR = new Intl.DateTimeFormat(undefined, { day: 'numeric', month: 'long', year: 'numeric' });
const SHORT = new Intl.DateTimeFormat(undefined, { day: 'numeric', month: 'short' });

export const time = (us) => (us ? TIME.format(date(us)) : '');
export function day(us) {
  const now = new Date();
  const then = date(us);
  if (then.toDateString() === now.toDateString()) return 'Today';
  if (then.toDateString() === new Date(now - 864e5).toDateString()) return 'Yesterday';
  return (then.getFullYear() === now.getFullYear() ? DAY : DAY_YEAR).format(then);
}
export function when(us) {
  if (!us) return '';
  const then = date(us);
  const now = new Date();
  if (then.toDateString() === now.toDateString()) return TIME.format(then);
  return `${(then.getFullYear() === now.getFullYear() ? SHORT : DAY_YEAR).format(then)}, ${TIME.format(then)}`;
}
export const moment = (us) => (us ? h('time', { datetime: date(us).toISOString() }, when(us)) : '');

/** How long ago, coarse: "3 minutes ago". */
export function ago(us, now_us = Date.now() * 1000) {
  if (!us) return 'never';
  const s = Math.max(0, Math.round((now_us - us) / 1e6));
  if (s < 90) return s < 10 ? 'just now' : `${s} seconds ago`;
  const minutes = Math.round(s / 60);
  if (minutes < 90) return `${minutes} minutes ago`;
  const hours = Math.round(minutes / 60);
  return hours < 36 ? `${hours} hours ago` : `${Math.round(hours / 24)} days ago`;
}

export const names = (list) => (list || []).map((p) => p.name).join(', ');
export function people(m) {
  if (m.hidden) return 'Name hidden';
  if (m.persons?.length) return names(m.persons);
  if (m.rule === 'erased') return m.guest;
  return m.guest ? `${m.guest} (guest)` : 'Nobody yet';
}
export const experiment = (m) =>
  m.experiment ? [m.experiment.code, m.experiment.title].filter(Boolean).join(' · ') : '';
export const section = (s) => (s ? [s.course, s.code && `section ${s.code}`].filter(Boolean).join(', ') : '');
export const accession = (m) => h('span', { class: 'accession' }, m.accession);
export const percent = (part) => `${(100 * (part || 0)).toFixed(part > 0 && part < 0.01 ? 1 : 0)} %`;
export const plural = (n, one, many = one + 's') => `${n} ${n === 1 ? one : many}`;

export function size(bytes) {
  if (!bytes) return '0 bytes';
  if (bytes < 1024) return plural(bytes, 'byte');
  if (bytes < 1048576) return `${(bytes / 1024).toFixed(0)} KB`;
  return bytes < 1073741824 ? `${(bytes / 1048576).toFixed(1)} MB` : `${(bytes / 1073741824).toFixed(0)} GB`;
}
