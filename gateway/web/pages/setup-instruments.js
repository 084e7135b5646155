// Instruments: adding and changing, the join string of an agent, the code of a bench.

import { get, patch, post } from './api.js';
import { act, announce, field, fill, h, select, whenSubmitted } from './dom.js';
import { PLATES, PREPARATIONS, plural } from './words.js';

const TECHNIQUES = [
  ['infrared', 'Infrared'],
  ['raman', 'Raman'],
  ['uv-vis', 'UV-Vis'],
  ['other', 'Other'],
];

const text = (name, value, rest = {}) =>
  h('input', { name, value: value ?? '', autocomplete: 'off', ...rest });

function fields(i, printers) {
  const printer = [['', 'by distance'], ...printers.map((p) => [p.name, p.name])];
  return h(
    'div',
    { class: 'fields' },
    field(
      'Name',
      text('name', i.name, { required: true, maxlength: 64, readonly: Boolean(i.id) }),
      'as people call it: IR-2',
    ),
    field('Place', text('place', i.place, { required: true }), 'building/floor/room/bench'),
    field('Technique', select('technique', TECHNIQUES, i.technique)),
    field('Accessory', text('accessory', i.accessory), 'such as ATR'),
    field('Usual preparation', select('preparation', PREPARATIONS, i.preparation)),
    field('Usual plates', select('plates', PLATES, i.plates)),
    field('First printer', select('first_printer', printer, i.first_printer)),
    field('Second printer', select('second_printer', printer, i.second_printer)),
    field('Cleaning solvent', text('cleaning_solvent', i.cleaning_solvent)),
    field('Solvents of this lab', text('solvents', i.solvents), 'with commas'),
    field('Lab resolution', text('lab_resolution', i.lab_resolution || '', { inputmode: 'numeric' }), 'cm⁻¹'),
    field('Lab scans', text('lab_scans', i.lab_scans || '', { inputmode: 'numeric' })),
    field('Name in the file name', text('name_pattern', i.name_pattern), 'pattern'),
    h(
      'div',
      { class: 'wide' },
      field(
        'How to export, in the lab’s own words',
        h('textarea', { name: 'how_to_export', maxlength: 1000, value: i.how_to_export || '' }),
        'the bench shows this',
      ),
    ),
  );
}

/* Fields emptied on purpose must be sent as empty; FormData helpers leave them out. */
function everything(form, numbers) {
  const body = {};
  for (const [name, value] of new FormData(form)) {
    if (!numbers.includes(name)) body[name] = value.trim();
    else body[name] = value.trim() || 0;
  }
  return body;
}
const NUMBERS = ['lab_resolution', 'lab_scans'];

export function secretBox(title, lines) {
  const copy = (value) =>
    act('Copy', async (button) => {
      await navigator.clipboard.writeText(value);
      button.textContent = 'Copied';
    });
  return h(
    'div',
    { class: 'say good', role: 'status' },
    h('p', h('strong', title)),
    lines.map(([name, value]) =>
      h('div', { class: 'row' }, h('span', name), h('code', value), navigator.clipboard && copy(value)),
    ),
  );
}

const shown = (told, box) => {
  fill(told, box);
  told.scrollIntoView({ block: 'nearest' });
};

/* The lab's own picture of how to export: PNG or JPEG. */
function picturePart(i) {
  const said = h('p', { class: 'soft', role: 'status' });
  const file = h('input', { type: 'file', accept: 'image/png,image/jpeg' });
  file.addEventListener('change', () => {
    const reader = new FileReader();
    reader.addEventListener('load', async () => {
      try {
        await post(`/instruments/${i.id}/picture`, { picture: reader.result.split(',')[1] || '' });
        said.textContent = 'The bench shows it.';
      } catch (problem) {
        said.textContent = problem.message;
      }
    });
    if (file.files[0]) reader.readAsDataURL(file.files[0]);
  });
  return h(
    'details',
    h('summary', 'Picture of how to export'),
    field('PNG or JPEG, at most 512 KiB', file),
    said,
  );
}

function card(i, printers, load) {
  const told = h('div');
  const form = h(
    'form',
    fields(i, printers),
    h('div', { class: 'row' }, h('button', { class: 'primary' }, 'Save')),
  );
  whenSubmitted(form, async () => {
    const { name, ...body } = everything(form, NUMBERS);
    await patch(`/instruments/${i.id}`, body);
    announce(`${name} saved.`);
    await load();
  });
  return h(
    'section',
    { class: 'card', 'aria-label': i.name },
    h('h2', i.name),
    h(
      'p',
      { class: 'soft' },
      [i.place, plural(i.agents || 0, 'agent'), plural(i.benches || 0, 'bench device')].join(' · '),
    ),
    h(
      'div',
      { class: 'row' },
      act('Join string for an agent', async () => {
        const { join } = await post(`/instruments/${i.id}/join-code`);
        shown(
          told,
          secretBox('Works once, for seven days. On the instrument’s PC:', [
            ['', `wavepost-agent join '${join}' --watch FOLDER --state FOLDER`],
          ]),
        );
      }),
      act('Code for a bench device', async () => {
        const { code, url } = await post(`/instruments/${i.id}/bench-code`);
        shown(
          told,
          secretBox('Works once, for seven days. On the device that stands at the instrument:', [
            ['open', url.replace(/\/bench\/.*/, '/bench')],
            ['and type', code],
          ]),
        );
      }),
    ),
    told,
    h('details', h('summary', 'Change'), form),
    picturePart(i),
  );
}

export async function instruments(main) {
  const load = async () => {
    const [{ instruments: list }, { printers }] = await Promise.all([get('/instruments'), get('/printers')]);
    const told = h('div');
    const form = h(
      'form',
      fields({}, printers),
      h('div', { class: 'row' }, h('button', { class: 'primary' }, 'Add')),
    );
    whenSubmitted(form, async () => {
      const { instrument, join } = await post('/instruments', everything(form, NUMBERS));
      await load();
      fill(
        main.querySelector('.told'),
        secretBox(`${instrument.name} is set up. Its agent joins once with:`, [
          ['', `wavepost-agent join '${join}' --watch FOLDER --state FOLDER`],
        ]),
      );
    });
    told.className = 'told';
    fill(
      main,
      h('h1', 'Instruments'),
      told,
      list.map((i) => card(i, printers, load)),
      h('details', { open: list.length === 0 }, h('summary', 'Add an instrument'), form),
    );
  };
  await load();
}
