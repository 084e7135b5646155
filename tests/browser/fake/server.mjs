// A small stand-in for the gateway, to look at the pages while working on them:
//   node tests/browser/fake/server.mjs PORT UPLOT_FOLDER [PAGE_PROGRAM]
// It serves gateway/web/pages with the gateway's content security policy and answers the API from
// data.mjs. Who is signed in is chosen by the cookie `role`. POST /fake/... plays what comes from
// outside: a spectrum, a file of another kind, an outage.

import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { dirname, extname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import * as data from './data.mjs';

const HERE = dirname(fileURLToPath(import.meta.url));
const PAGES = join(HERE, '../../../gateway/web/pages');
const POLICY =
  "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; font-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
const TYPES = {
  '.html': 'text/html; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.svg': 'image/svg+xml',
};
const ROLES = {
  student: ['student'],
  instructor: ['instructor'],
  demonstrator: ['demonstrator'],
  marker: ['marker'],
  technician: ['technician'],
  administrator: ['administrator'],
};
const PIXEL = Buffer.from(
  'iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==',
  'base64',
);

const [port, uplot, program] = process.argv.slice(2);
const bench = { id: 7, turn: null, question: null, current: null, list: [], messages: [] };
const streams = new Set();
let away = false;

const tell = (kind) =>
  streams.forEach((s) =>
    s.write(
      `id: ${Date.now()}\ndata: ${JSON.stringify({ topic: 'instrument:7', at_us: data.now(), body: { kind } })}\n\n`,
    ),
  );

function newSpectrum(verdict) {
  const m = data.measurement({
    id: 20000 + (Date.now() % 9000),
    verdict,
    measured_us: data.now(),
    unclaimed: !bench.turn,
    asked: Boolean(bench.turn && bench.list.length > 1),
    persons: bench.turn ? bench.turn.persons : [],
    kept: 'open',
  });
  if (m.asked)
    bench.question = {
      measurement: { ...m, unclaimed: true },
      text: 'The turn has the spectra its experiment expects.',
      persons: bench.turn.persons,
    };
  else bench.current = m;
  if (bench.turn && !m.asked) bench.list.unshift(m);
  tell('measurement');
}

const ACTS = {
  'sign-on': (body) => {
    const section = data.sections.find((s) => s.id === Number(body.section)) || data.sections[0];
    const wanted = []
      .concat(body.persons || body.person || [])
      .concat(body.partner || [])
      .map(Number);
    const e = data.experiments.find((one) => one.id === Number(body.experiment));
    const persons = data.people.filter((p) => wanted.includes(p.id)).map(data.short);
    if (!persons.length && !body.guest)
      return { problem: 422, detail: 'Say who you are: a name of the roster, or a guest.' };
    bench.turn = {
      id: Date.now(),
      persons,
      guest: body.guest || '',
      section: section.id,
      course: section.course,
      section_code: section.code,
      experiment: e?.id ?? null,
      experiment_code: e?.code,
      experiment_title: e?.title,
      sample: body.sample || '',
      kind: body.kind || 'sample',
      preparation: body.preparation || 'liquid film',
      plates: body.plates || 'NaCl',
      opened_us: Number(body.at_us) || data.now(),
      expected: 1,
      seen: 0,
    };
    Object.assign(bench, { current: null, question: null, list: [] });
  },
  keep: (body) => mark(body, 'kept'),
  again: (body) => mark(body, 'again'),
  answer: (body) => {
    if (bench.question) {
      bench.current = { ...bench.question.measurement, unclaimed: false };
      bench.list.unshift(bench.current);
    } else if (bench.current) bench.current = null;
    bench.question = null;
    return body && undefined;
  },
  done: () => {
    Object.assign(bench, { turn: null, current: null, question: null, list: [] });
  },
  'plates-out': () => undefined,
};
function mark(body, kept) {
  for (const m of [bench.current, ...bench.list]) if (m && m.id === Number(body.measurement)) m.kept = kept;
}

const me = (role) => ({
  person:
    role && ROLES[role]
      ? { id: 100, login: role, name: role === 'student' ? 'Maya Rao' : 'Ruth Amsel' }
      : null,
  roles: ROLES[role] || [],
  bench: role === 'bench' ? { instrument: 7 } : null,
  sections: [],
});

const VIEWS = [
  [/^\/me$/, (_, role) => me(role)],
  [
    /^\/me\/sessions$/,
    () => ({ sessions: [{ created_us: data.now(), used_us: data.now(), expires_us: data.now() + 4e10 }] }),
  ],
  [
    /^\/me\/measurements$/,
    (_, __, query) => ({
      measurements: query.get('q') ? data.inbox().slice(0, 1) : data.inbox(),
      more: false,
    }),
  ],
  [
    /^\/measurements\/(\d+)$/,
    ([id], role) =>
      data.whole(
        data.measurement({
          id: Number(id),
          counts: id % 2 === 0,
          verdict: 'note',
          unclaimed: role === 'instructor',
          suggestion: role === 'instructor' ? data.people.slice(0, 2) : [],
          ...(role === 'marker' ? { persons: [], hidden: true } : {}),
        }),
      ),
  ],
  [/^\/measurements\/\d+\/points$/, () => data.points()],
  [/^\/me\/mail$/, () => ({ choice: 'course' })],
  [
    /^\/find$/,
    (_, __, query) =>
      query.get('accession') === '1'
        ? { problem: 404, detail: 'None of your measurements has this number.' }
        : { measurement: 10042 },
  ],
  [/^\/bench\/7$/, () => data.benchState(bench)],
  [/^\/sections$/, () => ({ sections: data.sections })],
  [/^\/sections\/\d+\/grid$/, (_, role) => data.grid(role === 'marker')],
  [
    /^\/unclaimed$/,
    () => ({
      measurements: [
        data.measurement({ unclaimed: true, persons: [], suggestion: data.people.slice(0, 2) }),
        data.measurement({ unclaimed: true, persons: [], suggestion: [], verdict: 'again' }),
      ],
    }),
  ],
  [
    /^\/notices$/,
    () => ({
      notices: [
        {
          id: 1,
          kind: 'same-data',
          text: 'Two people have the same noise.',
          instrument: 'IR-2',
          measurement: { id: 10042, accession: '10042M' },
          other: { id: 10043, accession: '10043K' },
          path: null,
          at_us: data.now(),
        },
        {
          id: 2,
          kind: 'plates',
          text: 'A plate was taken out of use: cloudy or broken.',
          instrument: 'IR-2',
          measurement: null,
          other: null,
          path: null,
          at_us: data.now(),
        },
      ],
    }),
  ],
  [
    /^\/unread$/,
    () => ({
      objects: [
        {
          sha256: 'ab'.repeat(32),
          size: 2091,
          text: 'No spectrum: ##XYDATA= is missing.',
          line: 12,
          column: 3,
          path: 'Spectra/<b>evil</b> "name".jdx',
          instrument: 'IR-2',
          received_us: data.now(),
        },
      ],
    }),
  ],
  [/^\/fleet$/, () => data.fleet()],
  [/^\/printers$/, () => ({ printers: data.printers })],
  [
    /^\/deliveries$/,
    (_, __, query) => ({
      deliveries: data.deliveries.filter((d) => !query.get('state') || d.state === query.get('state')),
    }),
  ],
  [
    /^\/instruments$/,
    () => ({
      instruments: data.instruments.map((i) => ({
        ...i,
        technique: 'infrared',
        name_pattern: '',
        cleaning_solvent: 'ethanol',
        solvents: 'acetone',
        lab_resolution: 4,
        lab_scans: 16,
        first_printer: '214-A',
        second_printer: '214-B',
        agents: 1,
        benches: 1,
      })),
    }),
  ],
  [
    /^\/people$/,
    (_, __, query) => ({
      people: data.people.filter((p) => p.name.toLowerCase().includes((query.get('q') || '').toLowerCase())),
    }),
  ],
  [/^\/courses$/, () => ({ courses: data.courses })],
  [
    /^\/ledger$/,
    (_, __, query) => ({
      entries: Array.from({ length: 12 }, (__unused, i) => ({
        number: 400 - i,
        at_us: data.now() - i * 6e7,
        actor: [1, 3, 4][i % 3],
        actor_id: 100 + i,
        verb: ['sign-in', 'stamp', 'setting'][i % 3],
        subject: `measurement:${10042 + i}`,
        hash: 'f3'.repeat(32),
      })),
      ...(query.get('check') ? { sound: true, checked: 400 } : {}),
    }),
  ],
];
const POSTS = [
  [
    /^\/roster$/,
    (_, body) => ({
      added: ['vera (Vera Holt)', 'amir (Amir Said)'],
      changed: ['p2 (Ben Okafor)'],
      left: ['p9 (Ivo Marek)'],
      same: 15,
      errors: body.csv?.includes('bad') ? [{ line: 3, text: 'This is not a mail address.' }] : [],
      applied: body.dry_run === false,
    }),
  ],
  [
    /^\/instruments\/\d+\/bench-code$/,
    () => ({ code: 'K7QM-4PXT', url: `http://127.0.0.1:${port}/bench/7` }),
  ],
  [/^\/instruments\/\d+\/join-code$/, () => ({ join: 'https://wavepost.college.example/join#K7QM4PXT:pin' })],
  [/^\/bench\/enrol$/, () => ({ instrument: { id: 7, name: 'IR-2' } })],
  [
    /^\/sign-in$/,
    (_, body) =>
      body.password === 'right' ? {} : { problem: 403, detail: 'The name or the password is wrong.' },
  ],
  [
    /^\/claims$/,
    (_, body) =>
      body.code === 'GOOD' ? data.measurement() : { problem: 404, detail: 'This code is not known.' },
  ],
  [/^\/measurements\/(\d+)\/counts$/, ([id]) => data.measurement({ id: Number(id), counts: true })],
];

function send(response, status, type, body, extra = {}) {
  response.writeHead(status, {
    'Content-Type': type,
    'Content-Security-Policy': POLICY,
    'Cache-Control': 'no-store',
    'X-Content-Type-Options': 'nosniff',
    ...extra,
  });
  response.end(body);
}
const json = (response, value) =>
  value?.problem
    ? send(
        response,
        value.problem,
        'application/problem+json',
        JSON.stringify({ status: value.problem, detail: value.detail }),
      )
    : value === undefined
      ? send(response, 204, 'text/plain', '')
      : send(response, 200, 'application/json', JSON.stringify(value));

async function bodyOf(request) {
  let text = '';
  for await (const part of request) text += part;
  const form = (request.headers['content-type'] || '').includes('urlencoded');
  return { form, values: form ? Object.fromEntries(new URLSearchParams(text)) : JSON.parse(text || '{}') };
}

async function api(request, response, path, url, role) {
  if (path === '/events') {
    response.writeHead(200, { 'Content-Type': 'text/event-stream', 'Cache-Control': 'no-store' });
    response.write('retry: 1000\n\n');
    streams.add(response);
    request.on('close', () => streams.delete(response));
    return;
  }
  if (/\/sheet\.png$/.test(path)) return send(response, 200, 'image/png', PIXEL);
  if (request.method === 'GET') {
    const row = VIEWS.find(([pattern]) => pattern.test(path));
    return json(
      response,
      row
        ? row[1](path.match(row[0]).slice(1), role, url.searchParams)
        : { problem: 404, detail: `Nothing at ${path}.` },
    );
  }
  const { form, values } = await bodyOf(request);
  const act = path.match(/^\/bench\/7\/(.*)$/)?.[1];
  const row = POSTS.find(([pattern]) => pattern.test(path));
  const refused = act ? ACTS[act]?.(values) : undefined;
  if (act && !form) return json(response, refused?.problem ? refused : data.benchState(bench));
  if (act && refused?.problem)
    return send(response, 422, TYPES['.html'], `<!doctype html><title>Error</title><p>${refused.detail}`);
  if (form) return send(response, 303, 'text/plain', '', { Location: values.then || '/' });
  return json(response, row ? row[1](path.match(row[0]).slice(1), values) : undefined);
}

function page(response, path, url) {
  const id = path.match(/^\/bench\/(\d+)$/)?.[1];
  if (id && program)
    return send(
      response,
      200,
      TYPES['.html'],
      execFileSync(program, [url.search.slice(1)], { input: JSON.stringify(data.benchState(bench)) }),
    );
  const name = path === '/' ? 'index.html' : extname(path) ? path.slice(1) : `${path.slice(1)}.html`;
  try {
    const file = name.startsWith('assets/')
      ? join(uplot, name.endsWith('.css') ? 'uPlot.min.css' : 'uPlot.iife.min.js')
      : join(PAGES, name.replaceAll('/', ''));
    return send(response, 200, TYPES[extname(name)] || 'application/octet-stream', readFileSync(file));
  } catch {
    return send(response, 404, 'text/plain', 'not here');
  }
}

function play(response, path, url) {
  const what = path.slice('/fake/'.length);
  if (what === 'spectrum') newSpectrum(url.searchParams.get('verdict') || 'usable');
  if (what === 'other-file') bench.messages = [{ at_us: data.now(), kind: 'other-file', text: 'MAYA.SPC' }];
  if (what === 'silence' && bench.turn) bench.turn.opened_us -= 200e6;
  if (what === 'away') {
    away = true;
    streams.forEach((s) => s.destroy());
  }
  if (what === 'back') away = false;
  if (what === 'reset') ACTS.done((bench.messages = []));
  tell('message');
  json(response, data.benchState(bench));
}

createServer((request, response) => {
  const url = new URL(request.url, 'http://localhost');
  const role = /role=(\w+)/.exec(request.headers.cookie || '')?.[1];
  if (url.pathname.startsWith('/fake/')) play(response, url.pathname, url);
  else if (away) request.socket.destroy();
  else if (url.pathname.startsWith('/api/v1/'))
    api(request, response, url.pathname.slice(7), url, role).catch((error) =>
      send(response, 500, 'text/plain', String(error)),
    );
  else if (request.method === 'POST') bodyOf(request).then(() => page(response, url.pathname, url));
  else page(response, url.pathname, url);
}).listen(Number(port), '127.0.0.1', function listening() {
  process.stdout.write(`listening on http://127.0.0.1:${this.address().port}\n`);
});
