// What cannot be taken back: first what would go, then a word typed again and a reason, which stays.

import { post } from './api.js';
import { announce, field, fill, h, showProblem, whenSubmitted } from './dom.js';
import { day, time } from './words.js';

/**
 * A closed box "Remove for good". `path` is asked twice, first as a dry run; `says(answer)` tells what would
 * go; `word` is what must be typed, `named` what that is; `fields` are more controls of the form.
 */
export function removalBox({ title, path, says, word, named, fields = [], button, done }) {
  const place = h('div', h('p', { class: 'soft' }, 'Looking…'));
  const box = h('details', { class: 'removal' }, h('summary', title), place);
  const form = h(
    'form',
    fields,
    field('Reason', h('input', { name: 'reason', required: true, maxlength: 200 }), 'it stays; no names'),
    field(
      named,
      h('input', { name: 'confirm', required: true, autocomplete: 'off', spellcheck: 'false' }),
      `type ${word} to confirm`,
    ),
    h('div', { class: 'row' }, h('button', { class: 'grave' }, button)),
  );
  whenSubmitted(form, async (values) => {
    const answer = await post(path, values);
    announce('Removed.');
    await done(answer);
  });
  const look = async () => {
    const answer = await post(path, { ...values(), dry_run: true });
    fill(
      place,
      h('p', says(answer)),
      h('p', h('strong', 'It cannot be brought back.'), ' Old backups hold it until they expire.'),
      form,
    );
  };
  const values = () => Object.fromEntries([...new FormData(form)].filter(([name]) => name === 'spectra'));
  form.addEventListener('change', (event) => {
    if (event.target.name === 'spectra') look().catch((problem) => showProblem(problem, form));
  });
  box.addEventListener('toggle', () => box.open && look().catch((problem) => fill(place, h('p', problem.message))));
  return box;
}

const files = (n) => (n === 1 ? '1 file' : `${n} files`);

/** For the page of one spectrum. */
export const removeSpectrum = (m, done) =>
  removalBox({
    title: 'Remove for good',
    path: `/measurements/${m.id}/remove`,
    word: m.accession,
    named: 'Number',
    button: 'Remove this spectrum',
    says: (a) =>
      `For a private file that should not be here. The spectrum, its history and the bytes of ${files(a.files)} go; its number then says when, by whom and why.` +
      (a.kept.length ? ` These spectra keep a file of it: ${a.kept.join(', ')}.` : ''),
    done,
  });

/** For one line of the unread files. */
export const removeFile = (o, done) =>
  removalBox({
    title: 'Remove for good',
    path: `/objects/${o.sha256}/remove`,
    word: o.sha256.slice(0, 8),
    named: 'Digest',
    button: 'Remove this file',
    says: () => 'For a private file that should not be here. Its bytes and its name go; the digest stays.',
    done,
  });

const spectra = (n) => (n === 1 ? '1 spectrum' : `${n} spectra`);

function personWords(a) {
  const parts = [
    a.spectra === 0
      ? 'No spectra.'
      : `Of ${spectra(a.spectra)}: kept in the section without a name ${a.kept}, left with others ${a.shared}, removed ${a.removed}.`,
    a.named.length > 0 && `Those whose file itself holds the name go in any case: ${a.named.join(', ')}.`,
  ];
  return (
    'Names, sign-in name, mail address, numbers, sessions, places on rosters and waiting mails go. ' +
    parts.filter(Boolean).join(' ')
  );
}

/** For a person's box in the set-up. */
export function erasePerson(p, done) {
  const choice = (value, text, checked) =>
    h('label', { class: 'tick' }, h('input', { type: 'radio', name: 'spectra', value, checked }), text);
  return removalBox({
    title: 'Erase this person',
    path: `/people/${p.id}/erase`,
    word: p.login,
    named: 'Sign-in name',
    button: 'Erase this person',
    fields: [
      h(
        'fieldset',
        h('legend', 'Their spectra'),
        choice('keep', 'stay, without a name', true),
        ' ',
        choice('remove', 'go too', false),
      ),
    ],
    says: personWords,
    done,
  });
}

/** What a number says of a spectrum that was removed. */
export function removedWords(removed) {
  return h(
    'div',
    { class: 'say', role: 'status' },
    h(
      'p',
      `This spectrum was removed${removed.by ? ` by ${removed.by}` : ''}: ${day(removed.at_us)}, ${time(removed.at_us)}.`,
    ),
    h('p', `Reason: ${removed.reason}`),
  );
}
