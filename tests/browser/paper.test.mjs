// What becomes of a sheet is told on open pages by itself: at the bench, on the student's page, to staff.

import assert from 'node:assert/strict';
import { createServer } from 'node:net';
import { after, before, test } from 'node:test';
import { judge, launch, signIn, visitor } from './browser.mjs';
import { Lab } from './lab.mjs';

/* A printer of raw bytes (port 9100): takes all there is. */
const printer = createServer((socket) => {
  socket.on('error', () => {});
  socket.resume();
});
const lab = new Lab();
let browser;
let bench;

before(async () => {
  await new Promise((resolve) => printer.listen(0, '127.0.0.1', resolve));
  await lab.open();
  const uri = `socket://127.0.0.1:${printer.address().port}`;
  lab.command('printer', 'add', 'Door', '--uri', uri, '--place', 'Science/2/214');
  lab.command('instrument', 'change', 'IR-2', '--first-printer', 'Door');
  browser = await launch();
});

after(async () => {
  await browser?.close();
  await lab.close();
  await new Promise((resolve) => printer.close(resolve));
});

/* Pages ask again by themselves twice a minute; what is told live comes long before. */
const LIVE = { timeout: 15000 };

test('the bench says that the sheet is out without being reloaded', async () => {
  bench = await visitor(browser, lab, { size: 'tablet' });
  const { page } = bench;
  await page.goto('/bench');
  await page.getByLabel('Code from staff').fill(lab.newBenchCode());
  await page.getByRole('button', { name: /This device stands/ }).click();
  await page.getByRole('button', { name: 'Maya R.' }).click();
  await page.getByRole('button', { name: 'Unknown B' }).click();
  await page.getByRole('button', { name: 'Start' }).click();
  await page.getByRole('heading', { name: 'Maya R.' }).waitFor();
  lab.export('paper.jdx', { seed: 5, title: 'paper' });
  await page.getByRole('button', { name: 'Keep and print' }).click();
  await page.getByText(/(Printed|Sent) (at|to) .*Door/i).first().waitFor(LIVE);
  await judge(bench, 'a sheet that is out');
});

test('the student and staff see it move as well', async () => {
  const student = await visitor(browser, lab);
  await signIn(student, 'maya');
  await student.page.locator('.spectra a').first().click();
  const staff = await visitor(browser, lab);
  await signIn(staff, 'tom');
  await staff.page.goto('/fleet#/deliveries');
  const rows = staff.page.locator('tbody tr');
  await rows.first().waitFor();
  const before = await rows.count();
  const printed = student.page.locator('[aria-labelledby="sent"]').getByText('Printed', { exact: true });
  await printed.first().waitFor();
  assert.equal(await printed.count(), 1);
  await student.page.getByRole('button', { name: 'Print again' }).click();
  await printed.nth(1).waitFor(LIVE);
  await rows.nth(before).waitFor(LIVE);
  await staff.page.locator('tbody').getByText('Printed', { exact: true }).nth(before).waitFor(LIVE);
  await judge(student, 'printed again');
  await judge(staff, 'deliveries');
});

test('by keyboard the focus goes on with what comes next', async () => {
  const { page } = bench;
  const press = async (name) => {
    await page.getByRole('button', { name, exact: true }).focus();
    await page.keyboard.press('Enter');
  };
  const focused = (test_) => page.waitForFunction(test_, null, { timeout: 15000 });
  await press('Done');
  await page.getByRole('button', { name: 'Next, please' }).waitFor();
  await press('Next, please');
  await page.getByRole('button', { name: 'Ben O.' }).waitFor();
  await press('Ben O.');
  await page.getByText('No sample yet').waitFor();
  await press('Start');
  await page.getByRole('heading', { name: 'Ben O.' }).waitFor();
  await focused(() => document.activeElement.tagName === 'MAIN');
  lab.export('keys.jdx', { seed: 9, title: 'keys' });
  await page.getByText(/^(Keep and print|Yes, Ben O\.)$/).waitFor({ timeout: 15000 });
  await focused(() => ['keep', 'yes'].includes(document.activeElement.dataset.key));
  await judge(bench, 'by keyboard');
});
