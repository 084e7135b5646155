// The rate of npm jcampconverter 10.0.2 (MIT; it skips Y-checks) on files in memory, processor time of
// all threads, best of five after warming up. npm.mjs NODE_MODULES FILE...
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';

const [modules, ...files] = process.argv.slice(2);
const { convert } = createRequire(join(modules, 'anchor.js'))('jcampconverter');
const buffers = files.map((file) => readFileSync(file));
const bytes = buffers.reduce((sum, b) => sum + b.length, 0);
const all = () => buffers.reduce((sum, b) => sum + convert(b.toString('latin1')).flatten[0].spectra[0].data.y.length, 0);

const wall = () => Number(process.hrtime.bigint()) / 1e9;
for (const end = wall() + 1; wall() < end; ) all();
let best = Infinity;
for (let round = 0; round < 5; round++) {
  const before = process.cpuUsage();
  const begin = wall();
  let times = 0;
  do {
    all();
    times++;
  } while (wall() - begin < 0.4);
  const used = process.cpuUsage(before);
  best = Math.min(best, (used.user + used.system) / 1e6 / times);
}
console.log(`npm_MB_per_s ${(bytes / 1e6 / best).toFixed(1)}`);
