// One gateway with one instrument, its agent, a class that meets now, and people to sign in as; made
// with the real programs of the build folder and an invented college.

import { execFileSync, spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const BUILD = process.env.WAVEPOST_BUILD;
if (!BUILD) throw new Error('WAVEPOST_BUILD names the build folder; tests/browser/run sets it.');
const PROGRAM = {
  gateway: join(BUILD, 'gateway/wavepostd'),
  command: join(BUILD, 'gateway/cli/wavepost'),
  agent: join(BUILD, 'agents/wavepost-agent'),
};
export const PASSWORD = 'correct horse battery';
export const STUDENTS = [
  ['maya', 'Maya', 'Rao'],
  ['ben', 'Ben', 'Okafor'],
  ['chen', 'Chen', 'Li'],
  ['evil', '<b>Bo', '"Tables'],
  ['xiao', '小龍', '李'],
];
const START_MS = 15000;

/* Positions, widths and depths chosen by hand to look like an ester's film; not a measurement. */
const BANDS = [
  [2958, 12, 0.5],
  [2872, 10, 0.3],
  [1742, 9, 0.9],
  [1466, 10, 0.35],
  [1375, 8, 0.4],
  [1241, 14, 0.8],
  [1050, 16, 0.6],
];

/** A JCAMP-DX file (IUPAC, Appl. Spectrosc. 42, 151, 1988) of an invented film. */
export function jcamp({ title = 'film', scale = 1, seed = 1, timed = false } = {}) {
  const lines = [
    `##TITLE=${title}`,
    '##JCAMP-DX=4.24',
    '##DATA TYPE=INFRARED SPECTRUM',
    '##ORIGIN=',
    '##OWNER=',
    '##XUNITS=1/CM',
    '##YUNITS=TRANSMITTANCE',
    '##RESOLUTION=4',
    '##FIRSTX=400',
    '##LASTX=4000',
    '##DELTAX=2',
    '##XFACTOR=1',
    '##YFACTOR=0.0001',
    '##NPOINTS=1801',
    '##FIRSTY=',
    '##XYDATA=(X++(Y..Y))',
  ];
  if (timed) {
    const now = new Date();
    const two = (n) => String(n).padStart(2, '0');
    lines.splice(
      3,
      0,
      `##LONGDATE=${now.getFullYear()}/${two(now.getMonth() + 1)}/${two(now.getDate())} ${two(now.getHours())}:${two(now.getMinutes())}:${two(now.getSeconds())}`,
    );
  }
  const firstY = lines.indexOf('##FIRSTY=');
  let state = seed;
  const noise = () => {
    state = (state * 1103515245 + 12345) % 2147483648;
    return (state / 2147483648 - 0.5) * 0.002;
  };
  const values = Array.from({ length: 1801 }, (_, i) => {
    const v = 400 + 2 * i;
    const a =
      BANDS.reduce((sum, [at, wide, high]) => sum + (scale * high) / (1 + ((v - at) / wide) ** 2), 0.04) +
      noise();
    return Math.round(10000 * 10 ** -a);
  });
  lines[firstY] = `##FIRSTY=${values[0] / 10000}`;
  for (let i = 0; i < 1801; i += 8) lines.push(`${400 + 2 * i} ${values.slice(i, i + 8).join(' ')}`);
  return `${lines.join('\n')}\n##END=\n`;
}

function start(argv, ready, log) {
  const child = spawn(argv[0], argv.slice(1), { stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  child.stderr.on('data', (part) => log.push(String(part)));
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error(`${argv[0]} did not start: ${log.join('')}`)), START_MS);
    child.on('exit', (code) => reject(new Error(`${argv[0]} ended with ${code}: ${log.join('')}`)));
    child.stdout.on('data', (part) => {
      said += part;
      log.push(String(part));
      const found = ready.exec(said);
      if (!found) return;
      clearTimeout(timer);
      resolve({ child, found });
    });
    if (ready.source === '(?:)') resolve({ child, found: null });
  });
}

const stop = (child) =>
  new Promise((resolve) => {
    if (!child || child.exitCode !== null || child.signalCode) return resolve();
    const timer = setTimeout(() => child.kill('SIGKILL'), 12000);
    child.on('exit', () => {
      clearTimeout(timer);
      resolve();
    });
    child.kill('SIGTERM');
    return undefined;
  });

export class Lab {
  /** `plain`: HTTP on this machine alone, which browsers trust, and no agent. */
  async open({ plain = false } = {}) {
    this.plain = plain;
    this.folder = mkdtempSync(join(tmpdir(), 'wavepost-browser-'));
    this.data = join(this.folder, 'data');
    this.exports = join(this.folder, 'exports');
    mkdirSync(this.exports);
    this.log = [];
    this.listen = '127.0.0.1:0';
    await this.startGateway();
    await this.setUp();
    return this;
  }

  async startGateway() {
    const { child, found } = await start(
      [PROGRAM.gateway, '--data', this.data, '--listen', this.listen, ...(this.plain ? ['--plain'] : [])],
      /listening on (\S+)/,
      this.log,
    );
    this.gateway = child;
    this.url = found[1];
    this.listen = new URL(this.url).host;
  }

  stopGateway() {
    return stop(this.gateway);
  }

  /** The `wavepost` command; `input` for its standard input. */
  command(...argv) {
    const input = typeof argv.at(-1) === 'object' ? argv.pop().input : undefined;
    return execFileSync(PROGRAM.command, [...argv, '--data', this.data], { encoding: 'utf8', input }).trim();
  }

  async setUp() {
    const person = (login, given, family, ...rest) =>
      this.command(
        'person',
        STUDENTS.some(([known]) => known === login) ? 'change' : 'add',
        login,
        '--given',
        given,
        '--family',
        family,
        '--email',
        `${login}@college.example`,
        '--password-stdin',
        ...rest,
        { input: `${PASSWORD}\n` },
      );
    person('ada', 'Ada', 'Winter', '--role', 'administrator');
    person('tom', 'Tom', 'Sand', '--role', 'technician');
    for (const login of ['ruth', 'dora', 'mark'])
      person(login, login[0].toUpperCase() + login.slice(1), 'Amsel');
    this.command('course', 'add', 'CHEM 231', '--title', 'Organic chemistry', '--mailing', 'none');
    this.command('section', 'add', '02', '--course', 'CHEM 231', '--place', 'Science/2/214');
    this.command(
      'experiment',
      'add',
      'E4',
      '--course',
      'CHEM 231',
      '--title',
      'Unknown liquid',
      '--expected',
      '2',
      '--preparation',
      'liquid film',
      '--plates',
      'NaCl',
      '--sample',
      'Unknown A',
      '--sample',
      'Unknown B',
    );
    const at = (minutes) => new Date(Date.now() + minutes * 60000).toISOString();
    this.command(
      'meeting',
      'add',
      '--course',
      'CHEM 231',
      '--section',
      '02',
      '--starts',
      at(-30),
      '--ends',
      at(150),
    );
    for (const [login, role] of [
      ['ruth', 'instructor'],
      ['dora', 'demonstrator'],
      ['mark', 'marker'],
    ])
      this.command('staff', 'add', login, '--course', 'CHEM 231', '--section', '02', '--role', role);
    const roster = join(this.folder, 'roster.csv');
    const quoted = (text) => `"${text.replaceAll('"', '""')}"`;
    writeFileSync(
      roster,
      [
        'login,given,family,email,number',
        ...STUDENTS.map(([login, given, family], i) =>
          [login, quoted(given), quoted(family), `${login}@college.example`, 300100 + i].join(','),
        ),
      ].join('\n') + '\n',
    );
    this.command('roster', roster, '--course', 'CHEM 231', '--section', '02');
    for (const [login, given, family] of STUDENTS.slice(0, 2)) person(login, given, family);
    const join_ = this.command(
      'instrument',
      'add',
      'IR-2',
      '--place',
      'Science/2/214/bench C',
      '--how-to-export',
      'Choose File, Export, JCAMP-DX.',
    )
      .split(/\s+/)
      .at(-1);
    if (this.plain) return;
    const state = join(this.folder, 'agent');
    execFileSync(PROGRAM.agent, ['join', join_, '--watch', this.exports, '--state', state]);
    this.agent = (await start([PROGRAM.agent, 'run', '--state', state], /(?:)/, this.log)).child;
  }

  /** What a person's card says: the digits are computed as people/cards.h tells, by Python's BLAKE2b. */
  cardOf(login) {
    const program = `
import hashlib, sqlite3, sys
data, login = sys.argv[1:]
seed, = sqlite3.connect("file:%s/gateway.db?mode=ro" % data, uri=True).execute(
    "SELECT b.seed FROM bench_card b JOIN person p ON p.id = b.person_id WHERE p.login = ?", (login,)).fetchone()
key = open(data + "/bench.key", "rb").read()
number = int.from_bytes(hashlib.blake2b(b"card:" + seed.hex().encode(), key=key, digest_size=32).digest(), "big")
text = ""
for _ in range(24):
    number, digit = divmod(number, 10)
    text += str(digit)
print(text + "%02d" % (98 - int(text + "00") % 97))`;
    return execFileSync('/usr/bin/python3', ['-c', program, this.data, login], { encoding: 'utf8' }).trim();
  }

  /** Another code, for another device. */
  newBenchCode() {
    return this.command('instrument', 'bench-code', 'IR-2').split(/\s+/).at(-1);
  }

  export(name, options) {
    writeFileSync(join(this.exports, name), jcamp(options));
  }

  exportText(name, text) {
    writeFileSync(join(this.exports, name), text);
  }

  async close() {
    await stop(this.agent);
    await stop(this.gateway);
    if (this.folder) rmSync(this.folder, { recursive: true, force: true });
  }
}
