// Compares the reader's values, point by point, with those the generator meant and with those of an
// independent JCAMP-DX reader (npm jcampconverter 10.0.2, MIT).
//
// compare.mjs TOOL FOLDER NODE_MODULES
import { execFileSync } from 'node:child_process';
import { readFileSync, readdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';

const [tool, folder, modules] = process.argv.slice(2);
const { convert } = createRequire(join(modules, 'anchor.js'))('jcampconverter');
const faults = [];
let points = 0;
let against = 0;
let files = 0;

function fault(file, text) {
  faults.push(`${file}: ${text}`);
}

function same(file, what, got, want, tolerance) {
  if (got.length !== want.length) return fault(file, `${got.length} ${what}, expected ${want.length}`);
  let range = 0;
  for (const v of want) range = Math.max(range, Math.abs(v ?? 0));
  for (let i = 0; i < want.length; i++) {
    const missing = got[i] === null || want[i] === null;
    const ok = missing ? got[i] === want[i] : Math.abs(got[i] - want[i]) <= tolerance * range;
    if (!ok) return fault(file, `${what}[${i}] is ${got[i]}, expected ${want[i]}`);
  }
  points += want.length;
}

function read(extra, names) {
  const out = execFileSync(tool, [...extra, ...names.map((n) => join(folder, n))], { maxBuffer: 2 ** 30 });
  return out.toString().trim().split('\n').map((line) => JSON.parse(line));
}

const names = readdirSync(folder).filter((n) => /\.(jdx|csv)$/.test(n)).sort();
if (names.length < 200) throw new Error(`only ${names.length} generated files in ${folder}`);
read([], names).forEach((found, i) => {
  const name = names[i];
  const want = JSON.parse(readFileSync(join(folder, name.replace(/\.\w+$/, '.json')), 'utf8'));
  files++;
  if (found.status !== 'ok') return fault(name, `${found.status}, line ${found.line}: ${found.error}`);
  if (found.spectra.length !== 1) return fault(name, `${found.spectra.length} spectra`);
  const [spectrum] = found.spectra;
  same(name, 'x', spectrum.x, want.x, 0);
  same(name, 'y', spectrum.y, want.y, 0);
  for (const unit of ['xunit', 'yunit'])
    if (want[unit] && spectrum[unit] !== want[unit]) fault(name, `${unit} is ${spectrum[unit]}`);
  for (const warning of found.warnings) fault(name, `warning ${warning.label}: ${warning.text}`);
  if (!want.npm) return;
  const { data } = convert(readFileSync(join(folder, name), 'latin1')).flatten[0].spectra[0];
  same(name, 'x against npm', spectrum.x, Array.from(data.x), 1e-12);
  same(name, 'y against npm', spectrum.y, Array.from(data.y), 1e-12);
  against++;
});

// What is written re-reads to the same values.
for (const form of ['jcamp', 'jcamp-difdup', 'csv']) {
  read(['--through', form], names).forEach((found, i) => {
    const want = JSON.parse(readFileSync(join(folder, names[i].replace(/\.\w+$/, '.json')), 'utf8'));
    if (form === 'csv' && want.x.length < 3) return;
    const [spectrum] = found.spectra;
    if (!spectrum) return fault(names[i], `through ${form}: ${found.error}`);
    // A compressed table has an even grid: abscissae to half of their last digit, 0.0005.
    same(names[i], `x through ${form}`, spectrum.x, want.x, form === 'jcamp-difdup' ? 1.3e-7 : 1e-15);
    same(names[i], `y through ${form}`, spectrum.y, want.y, 2e-15);
  });
}

for (const text of faults.slice(0, 20)) console.error(text);
console.log(`${files} files, ${against} of them against npm, ${points} values, ${faults.length} faults`);
if (faults.length || against < 150) process.exit(1);
