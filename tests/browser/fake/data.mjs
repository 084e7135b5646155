// An invented college for looking at the pages without a gateway. Shapes as the gateway's views make
// them; every name is invented, and no figure here is a measurement.

const MINUTE = 60e6;
export const now = () => Date.now() * 1000;

const INSTRUMENTS = [
  {
    id: 7,
    name: 'IR-2',
    place: 'Science/2/214/bench C',
    accessory: '',
    how_to_export:
      'In the program choose File, Export, JCAMP-DX, and save in the folder Spectra on the desktop.',
    preparation: 'liquid film',
    plates: 'NaCl',
    paused: false,
  },
  {
    id: 8,
    name: 'IR-3',
    place: 'Science/2/214/bench D',
    accessory: 'ATR',
    how_to_export: '',
    preparation: 'ATR',
    plates: 'none',
    paused: false,
  },
];
export const instrument = (id) => INSTRUMENTS.find((i) => i.id === Number(id));
export const instruments = INSTRUMENTS;

const NAMES = [
  'Maya Rao',
  'Ben Okafor',
  'Chen Li',
  'Dilnoza Karimova',
  'Elif Aydın',
  'Farid Haddad',
  'Greta Sund',
  'Hana Novák',
  'Ivo Marek',
  'Jonas Wirth',
  'Kofi Mensah',
  'Lucía Peña',
  'Mateus Prado',
  'Noor Aziz',
  'Oona Virta',
  'Priya Nair',
  'Quentin Roy',
  '李 小龍',
  'Sara Lind',
  'Tomás Vega',
  'Zoë van der Berg',
];
export const people = NAMES.map((name, i) => ({
  id: 100 + i,
  name,
  login: `p${i + 1}`,
  given: name.split(' ')[0],
  family: name.split(' ').slice(1).join(' '),
  email: `p${i + 1}@college.example`,
  alias: '',
  roles: i === 3 ? ['technician'] : [],
}));
export const short = (p) => ({ id: p.id, name: `${p.given} ${p.family[0]}.` });

export const experiments = [
  {
    id: 31,
    code: 'E4',
    title: 'Unknown liquid',
    expected: 1,
    preparation: 'liquid film',
    plates: 'NaCl',
    samples: ['Unknown A', 'Unknown B', 'Unknown C', 'Unknown D'],
  },
  {
    id: 32,
    code: 'E5',
    title: 'Ester by distillation',
    expected: 2,
    preparation: 'liquid film',
    plates: 'NaCl',
    samples: ['Product', 'Starting alcohol'],
  },
  {
    id: 33,
    code: 'E6',
    title: 'Polystyrene film',
    expected: 1,
    preparation: 'cast film',
    plates: 'none',
    samples: [],
  },
];
export const sections = [
  {
    id: 21,
    course: 'CHEM 231',
    code: '02',
    title: 'Organic laboratory',
    place: 'Science/2/214',
    instructors: ['Ruth Amsel'],
    students: 18,
    now: true,
  },
  {
    id: 22,
    course: 'CHEM 231',
    code: '03',
    title: 'Organic laboratory',
    place: 'Science/2/214',
    instructors: ['Ruth Amsel', 'Leo Brandt'],
    students: 3,
    now: false,
  },
];
export const roster = (section) => (section === 21 ? people.slice(0, 18) : people.slice(18));

export function points() {
  const bands = [
    [2958, 0.5, 12],
    [2930, 0.4, 14],
    [2872, 0.3, 10],
    [1742, 1.2, 9],
    [1466, 0.35, 10],
    [1375, 0.4, 8],
    [1241, 1.1, 14],
    [1050, 0.7, 16],
    [850, 0.15, 12],
    [640, 0.2, 14],
  ];
  const x = [];
  const t = [];
  let seed = 7;
  for (let v = 4000; v >= 400; v -= 2) {
    seed = (seed * 1103515245 + 12345) % 2147483648;
    const a =
      bands.reduce((sum, [at, high, wide]) => sum + high / (1 + ((v - at) / wide) ** 2), 0.04) +
      (seed / 2147483648 - 0.5) * 0.003 +
      (v < 640 ? (640 - v) * 0.004 : 0);
    x.push(v);
    t.push(10 ** -a);
  }
  return { x, t, x_unit: 'cm-1', y_unit: 'transmittance', bands: foundBands() };
}
function foundBands() {
  return [
    [2958, 0.6, 12, 's'],
    [2872, 0.7, 10, 'm'],
    [1742, 0.07, 9, 's'],
    [1466, 0.48, 10, 'm'],
    [1375, 0.42, 8, 'm'],
    [1241, 0.09, 14, 's'],
    [1050, 0.21, 16, 's'],
    [850, 0.66, 12, 'w'],
  ].map(([position, transmittance, width, strength]) => ({
    position,
    transmittance,
    absorbance: -Math.log10(transmittance),
    prominence: 0.9 - transmittance,
    width: 2 * width,
    strength,
    shape: width > 15 ? 'broad' : 'sharp',
  }));
}

const WORDS = { usable: 'usable', note: 'usable, with a note', again: 'better run again' };
const REMARKS = {
  usable: [],
  note: [
    {
      code: 'too-strong',
      text: 'Two bands are cut off flat (1742, 1241).',
      advice: 'Usable. For a better one: open the plates, wipe one, close them, run again.',
    },
  ],
  again: [
    {
      code: 'too-strong',
      text: 'Film too thick: 5 bands are cut off flat.',
      advice: 'Open the plates, wipe ONE, close them, run again. About 2 minutes.',
    },
  ],
};
let number = 10042;
export function measurement(values = {}) {
  const verdict = values.verdict || 'usable';
  const id = values.id || number;
  number += 1;
  return {
    id,
    accession: `${10000 + (id % 90000)}M`,
    measured_us: now() - 3 * MINUTE,
    time_source: 'file',
    clock_corrected: false,
    instrument: INSTRUMENTS[0],
    title: 'sample',
    technique: 'infrared',
    verdict,
    verdict_words: WORDS[verdict],
    remarks: REMARKS[verdict],
    kept: 'open',
    counts: false,
    unclaimed: false,
    asked: false,
    persons: [people[0]],
    guest: '',
    section: { id: 21, course: 'CHEM 231', code: '02' },
    experiment: { id: 31, code: 'E4', title: 'Unknown liquid' },
    sample: 'Unknown B',
    kind: 'sample',
    preparation: 'liquid film',
    plates: 'NaCl',
    rule: 'turn',
    suggestion: [],
    turn: 500,
    ...values,
  };
}

export function whole(m) {
  return {
    ...m,
    bands: foundBands(),
    cut_off: 640,
    stamps: [
      {
        revision: 1,
        rule: 'nobody',
        persons: [],
        section: '02',
        experiment: null,
        sample: '',
        kind: 'sample',
        reason: 'Nobody was signed on.',
        author: 0,
        author_name: null,
        at_us: m.measured_us,
      },
      {
        revision: 2,
        rule: 'claim',
        persons: ['Maya Rao'],
        section: '02',
        experiment: 'E4',
        sample: 'Unknown B',
        kind: 'sample',
        reason: 'Claimed by the code on the sheet.',
        author: 1,
        author_name: 'Maya Rao',
        at_us: m.measured_us + MINUTE,
      },
    ],
    renditions: [
      { id: 1, format: 'jcamp-dx', points: 1801, path: 'SPECTRA/MAYA.JDX', added_us: m.measured_us },
    ],
    deliveries: [
      {
        id: 1,
        kind: 'print',
        state: 'done',
        reason: 'Kept at the bench.',
        printer: '214-A',
        changed_us: m.measured_us + MINUTE,
      },
      {
        id: 2,
        kind: 'mail',
        state: 'waiting',
        reason: 'One mail after class.',
        printer: null,
        changed_us: m.measured_us,
      },
    ],
    captures: [{ id: 1, path: 'SPECTRA/MAYA.JDX', received_us: m.measured_us, known: false }],
  };
}

export function inbox() {
  return [
    measurement({ verdict: 'usable', counts: true, kept: 'kept' }),
    measurement({ verdict: 'again', kept: 'again' }),
    measurement({
      verdict: 'note',
      kept: 'auto',
      persons: [people[0], people[1]],
      experiment: experiments[1],
      sample: 'Product',
      measured_us: now() - 26 * 60 * MINUTE,
    }),
    measurement({
      verdict: 'usable',
      kept: 'kept',
      counts: true,
      experiment: experiments[2],
      sample: 'Film',
      measured_us: now() - 9 * 24 * 60 * MINUTE,
    }),
  ];
}

export function grid(hidden) {
  const verdicts = ['usable', 'note', 'again', null, 'usable', 'usable'];
  return {
    section: { ...sections[0], course_title: 'Organic chemistry' },
    experiments,
    unclaimed: 1,
    students: roster(21).map((p, i) => ({
      id: p.id,
      name: hidden ? `Student ${i + 1}` : p.name,
      number: hidden ? '' : String(300100 + i),
      left: false,
      cells: experiments.map((e, j) => ({
        experiment: e.id,
        measurements:
          verdicts[(i + j) % 6] === null || (j === 2 && i % 2)
            ? []
            : Array.from({ length: (i + j) % 4 === 0 ? 2 : 1 }, (_, k) =>
                measurement({
                  verdict: k ? 'again' : verdicts[(i + j) % 6],
                  kept: k ? 'again' : 'kept',
                  counts: k === 0,
                }),
              ),
      })),
    })),
  };
}

export const printers = [
  {
    id: 41,
    name: '214-A',
    uri: 'ipp://localhost/ipp/print',
    place: 'Science/2/214',
    where: 'by the hood',
    paper: 'a4',
    language: 'pdf',
    behind_most: 10,
    mode: 'on',
    mode_reason: '',
    state: 'ready',
    state_text: 'is ready',
    jobs: 0,
    seen_us: 0,
    waiting: 0,
    model: 'Printer',
  },
  {
    id: 42,
    name: '214-B',
    uri: 'ipp://localhost/ipp/print2',
    place: 'Science/2/214',
    where: 'by the door',
    paper: 'a4',
    language: 'pdf',
    behind_most: 10,
    mode: 'paused',
    mode_reason: 'Toner ordered.',
    state: 'no paper',
    state_text: 'has no paper',
    jobs: 2,
    seen_us: 0,
    waiting: 2,
    model: 'Printer',
  },
];

export function fleet() {
  const agent = {
    id: 1,
    state: 'up',
    seen_us: now() - 9e6,
    version: '0.1.0',
    queue_count: 0,
    queue_bytes: 0,
    queue_oldest_us: null,
    disk_free: 81e9,
    offset_us: -41e6,
    spool_stopped: false,
    folders: [{ path: 'C:\\Spectra', reachable: true }],
    ledger_ok: true,
  };
  const today = { up: 0.91, down: 0.03, unknown: 0.06, hours_lost: 0.3 };
  return {
    now_us: now(),
    gateway: { up_since_us: now() - 200 * MINUTE },
    printers,
    instruments: [
      {
        id: 7,
        name: 'IR-2',
        place: 'Science/2/214/bench C',
        paused: false,
        last_spectrum_us: now() - 4 * MINUTE,
        printer: '214-A',
        printer_state: 'ready',
        agents: [agent],
        state: 'ready',
        today,
        faults: [
          {
            from_us: now() - 180 * MINUTE,
            to_us: now() - 162 * MINUTE,
            text: 'The instrument’s PC was not heard.',
          },
        ],
      },
      {
        id: 8,
        name: 'IR-3',
        place: 'Science/2/214/bench D',
        paused: false,
        last_spectrum_us: now() - 190 * MINUTE,
        printer: '214-B',
        printer_state: 'no paper',
        agents: [
          {
            ...agent,
            state: 'silent',
            seen_us: now() - 22 * MINUTE,
            queue_count: 3,
            queue_bytes: 91e3,
            queue_oldest_us: now() - 23 * MINUTE,
            offset_us: 0,
          },
        ],
        state: 'silent',
        today: { up: 0.6, down: 0.34, unknown: 0.06, hours_lost: 3.1 },
        faults: [],
      },
      {
        id: 9,
        name: 'UV-1',
        place: 'Science/2/216',
        paused: false,
        last_spectrum_us: null,
        printer: null,
        printer_state: null,
        agents: [],
        state: 'no agent',
        today: null,
        faults: [],
      },
    ],
  };
}

export const deliveries = [
  {
    id: 900,
    kind: 'print',
    measurement: 10042,
    person: 100,
    instrument: 7,
    printer: 41,
    printer_name: '214-A',
    printer_where: 'by the hood',
    state: 'uncertain',
    reason: 'The printer cannot say whether it was printed.',
    pages: 1,
    attempts: 1,
    created_us: now() - 12 * MINUTE,
    changed_us: now() - 10 * MINUTE,
  },
  {
    id: 899,
    kind: 'print',
    measurement: 10041,
    person: 101,
    instrument: 7,
    printer: 42,
    printer_name: '214-B',
    printer_where: 'by the door',
    state: 'asking',
    reason: 'No printer of this room works.',
    pages: 1,
    attempts: 0,
    created_us: now() - 14 * MINUTE,
    changed_us: now() - 10 * MINUTE,
  },
  {
    id: 898,
    kind: 'mail',
    measurement: 10040,
    person: 102,
    instrument: 8,
    printer: null,
    printer_name: null,
    printer_where: null,
    state: 'done',
    reason: 'One mail after class.',
    pages: 1,
    attempts: 1,
    created_us: now() - 50 * MINUTE,
    changed_us: now() - 40 * MINUTE,
  },
];

export const courses = [
  {
    id: 11,
    code: 'CHEM 231',
    title: 'Organic chemistry',
    y_axis: 'transmittance',
    printing: 'ask',
    mailing: 'digest',
    pages_a_day: 20,
    experiments,
    sections: sections.map((s) => ({
      id: s.id,
      code: s.code,
      title: s.title,
      place: s.place,
      students: s.students,
      staff: [{ name: 'Ruth Amsel', login: 'ruth', roles: 4 }],
      next_us: now() + 60 * 24 * 60 * MINUTE,
    })),
  },
];

export function benchState(bench) {
  return {
    now_us: now(),
    instrument: instrument(bench.id),
    turn: bench.turn,
    question: bench.question,
    current: bench.current,
    turn_measurements: bench.list,
    sections: sections.map((s) => ({
      id: s.id,
      course: s.course,
      code: s.code,
      title: s.title,
      now: s.now,
      roster: roster(s.id).map(short),
      experiments,
    })),
    messages: bench.messages,
    printer: printers[0],
    cautions: {
      sign_on: 'Gloves off for keys and screens. Goggles on. Solvent stays in the hood.',
      preparation: 'Salt plates: no water, no wet sample. Hold by the edges.',
      pellet: 'Never grind or press azides, perchlorates, nitro compounds or unknowns without staff.',
      hand_over: [
        'Take your sample. Plates wiped and back in the desiccator? Next, please.',
        'Broken plate: tell staff, sharps bin, not by hand.',
      ],
    },
  };
}
