// The gateway is really stopped: the bench page is loaded again, signs on, and tells afterwards.

import assert from 'node:assert/strict';
import { readFileSync, readdirSync } from 'node:fs';
import { after, before, test } from 'node:test';
import { launch, visitor } from './browser.mjs';
import { Lab } from './lab.mjs';

const PAGES = new URL('../../gateway/web/pages/', import.meta.url);
const lab = new Lab();
let browser;

before(async () => {
  await lab.open({ plain: true });
  browser = await launch();
});
after(async () => {
  await browser?.close();
  await lab.close();
});

test('everything that the bench page loads is kept', () => {
  const text = (name) => readFileSync(new URL(name, PAGES), 'utf8');
  const worker = text('bench-worker.js');
  const wanted = new Set(['bench.js']);
  for (const name of wanted)
    for (const [, found] of text(name).matchAll(/from '\.\/([\w-]+\.js)'/g)) wanted.add(found);
  for (const [, found] of text('bench-away.html').matchAll(/(?:href|src)="\/([\w-]+\.\w+)"/g)) wanted.add(found);
  assert.ok(wanted.size > 12 && readdirSync(PAGES).length > wanted.size);
  for (const name of wanted) assert.ok(worker.includes(`'/${name}'`), name);
});

test('a bench that is loaded again while the gateway is away signs on, and the turn arrives', async () => {
  const { page, context } = await visitor(browser, lab, { size: 'tablet', serviceWorkers: 'allow' });
  await page.goto('/bench');
  await page.getByLabel('Code from staff').fill(lab.newBenchCode());
  await page.getByRole('button', { name: /This device stands/ }).click();
  await page.getByRole('heading', { name: 'Who is measuring?' }).waitFor();
  await page.waitForFunction(() =>
    navigator.serviceWorker.ready.then((registration) => registration.active.state === 'activated'),
  );
  await lab.stopGateway();
  await page.reload();
  await page.getByText(/Server not reached since \d\d:\d\d. Carry on/).waitFor({ timeout: 30000 });
  await page.getByRole('button', { name: 'Ben O.' }).click();
  const tapped = Date.now() * 1000;
  await page.getByRole('button', { name: 'Start' }).click();
  await page.getByRole('heading', { name: 'Ben O.' }).waitFor();
  await page.reload();
  await page.getByRole('heading', { name: 'Ben O.' }).waitFor({ timeout: 30000 });
  await lab.startGateway();
  const back = Date.now() * 1000;
  await page.getByText('Server not reached').waitFor({ state: 'detached', timeout: 30000 });
  const turn = await page.evaluate(() =>
    fetch(`/api/v1/bench/${location.pathname.split('/')[2]}`)
      .then((answer) => answer.json())
      .then((state) => state.turn),
  );
  assert.deepEqual(
    turn.persons.map((person) => person.name),
    ['Ben O.'],
  );
  assert.ok(turn.opened_us >= tapped && turn.opened_us < back, 'the turn began when it was tapped');
  await context.close();
});
