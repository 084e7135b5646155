// Reads the open sample files of npm jcamp-data-test (0.2.1, MIT): nuclear magnetic resonance, so no
// truth for the infrared, but large and made by other programs. Every one must be read, and the
// first table must have the ordinates that the independent reader finds.
//
// samples.mjs TOOL NODE_MODULES
import { spawnSync } from 'node:child_process';
import { readFileSync, readdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';

const [tool, modules] = process.argv.slice(2);
const { convert } = createRequire(join(modules, 'anchor.js'))('jcampconverter');
const data = join(modules, 'jcamp-data-test', 'data');
const names = readdirSync(data, { recursive: true }).filter((n) => /\.j?dx$/.test(n)).sort();
if (names.length < 8) throw new Error(`only ${names.length} sample files in ${data}`);
const faults = [];
let points = 0;
for (const name of names) {
  const file = join(data, name);
  const run = spawnSync(tool, [file], { maxBuffer: 2 ** 30, timeout: 60000 });
  if (run.status !== 0) {
    faults.push(`${name}: status ${run.status} ${run.signal} ${run.stderr}`);
    continue;
  }
  const found = JSON.parse(run.stdout.toString());
  if (found.status !== 'ok' || !found.spectra.length) {
    faults.push(`${name}: ${found.status}, line ${found.line}: ${found.error}`);
    continue;
  }
  if (/(COSY|H[MS][BQ]C)/.test(name)) continue; // planes: the other reader draws contours of them
  const block = convert(readFileSync(file, 'latin1')).flatten.find((b) => b.spectra?.length);
  const want = Array.from(block.spectra[0].data.y);
  const got = found.spectra[0].y;
  const range = want.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
  const at = want.findIndex((v, i) => !(Math.abs(v - got[i]) <= 1e-12 * range));
  if (got.length !== want.length || at >= 0)
    faults.push(`${name}: ${got.length} of ${want.length} points, first difference at ${at}`);
  points += want.length;
}
for (const text of faults) console.error(text);
console.log(`${names.length} files, ${points} ordinates compared, ${faults.length} faults`);
if (faults.length || points < 100000) process.exit(1);
