// Staff bring a folder of files from a stick, in a real browser with real files.

import assert from 'node:assert/strict';
import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { judge, launch, signIn, visitor } from './browser.mjs';
import { jcamp, Lab } from './lab.mjs';

const lab = new Lab();
let browser;
let staff;
let stick;

const rowOf = (name) => staff.page.locator('.brought li').filter({ hasText: name });
const stateIs = (name, words) => rowOf(name).getByText(words).first().waitFor();
const summary = (page, words) => page.locator('.summary').filter({ hasText: words }).waitFor();
const choose = (paths, label = 'A folder') => staff.page.getByLabel(label).setInputFiles(paths);

async function press(name) {
  await staff.page.getByRole('button', { name }).click();
}

before(async () => {
  await lab.open();
  browser = await launch();
  stick = join(lab.folder, 'STICK');
  mkdirSync(join(stick, 'IR'), { recursive: true });
  writeFileSync(join(stick, 'IR', 'ester.jdx'), jcamp({ title: 'ester', timed: true }));
  writeFileSync(join(stick, 'IR', 'again.jdx'), jcamp({ title: 'ester', timed: true }));
  writeFileSync(join(stick, 'notes.txt'), 'these are notes\n');
  writeFileSync(join(stick, 'RUN1.SPX'), 'binary');
  writeFileSync(join(stick, 'empty.csv'), '');
});
after(async () => {
  await browser?.close();
  await lab.close();
});

test('a technician reaches the page from the sections and from the instrument', async () => {
  staff = await visitor(browser, lab);
  const { page } = staff;
  await signIn(staff, 'tom');
  await page.getByRole('link', { name: 'Instruments' }).click();
  await page.getByRole('link', { name: 'Bring its files by hand' }).click();
  await page.getByRole('heading', { name: 'Bring files' }).waitFor();
  assert.match(await page.getByLabel('Instrument that measured them').textContent(), /IR-2/);
  await page.getByRole('link', { name: 'Sections' }).first().click();
  await page.getByRole('link', { name: 'Bring files' }).click();
  await page.getByRole('heading', { name: 'Bring files' }).waitFor();
});

test('a folder is listed with what is taken and what is not, and why', async () => {
  const { page } = staff;
  await choose(stick);
  await stateIs('ester.jdx', 'To be sent');
  await stateIs('RUN1.SPX', '.spx is not an open format');
  await stateIs('empty.csv', 'empty');
  await summary(page, '3 files to be sent; 2 not taken');
  await judge(staff, 'the list');
});

test('each file gets its line: a number, known already, or why it is no spectrum', async () => {
  const { page } = staff;
  await press('Send');
  await stateIs('notes.txt', 'Kept, not read');
  await stateIs('ester.jdx', /Taken|Known already/);
  await stateIs('again.jdx', /Taken|Known already/);
  await summary(page, '1 taken, 1 known already, 1 kept, not read, 2 not taken');
  assert.equal(await page.getByRole('progressbar').getAttribute('value'), '3');
  await judge(staff, 'sent');
});

test('the spectrum says who brought it', async () => {
  const { page } = staff;
  await rowOf('ester.jdx').getByRole('link').click();
  await page.getByText('brought by hand by Tom Sand', { exact: true }).waitFor();
  await page.getByText('History (1)').click();
  await page.getByText(/Brought by hand\./).waitFor();
});

test('the same stick again is known, and plain files can be chosen as well', async () => {
  const { page } = staff;
  await page.goto('/staff#/bring');
  await page.getByRole('heading', { name: 'Bring files' }).waitFor();
  await choose([join(stick, 'IR', 'ester.jdx'), join(stick, 'notes.txt')], 'Or files');
  await press('Send');
  await stateIs('ester.jdx', 'Known already');
  await stateIs('notes.txt', 'Known, not read');
});

test('a gateway that goes away loses nothing: what is left is sent when it is back', async () => {
  const { page, trouble } = staff;
  await page.reload();
  await page.getByRole('heading', { name: 'Bring files' }).waitFor();
  for (let i = 0; i < 3; i++)
    writeFileSync(join(stick, 'IR', `more${i}.jdx`), jcamp({ title: `more ${i}`, seed: 50 + i }));
  await choose(stick);
  await lab.stopGateway();
  await press('Send');
  await page.getByText('The server was not reached').first().waitFor({ timeout: 60000 });
  await lab.startGateway();
  await press('Send the rest');
  for (let i = 0; i < 3; i++) await stateIs(`more${i}.jdx`, 'Taken');
  trouble.length = 0; // the browser itself reports the refused connections
});

test('it can be stopped and resumed by keyboard, and a file that is gone from the stick is told', async () => {
  const { page } = staff;
  await page.reload();
  await page.getByRole('heading', { name: 'Bring files' }).waitFor();
  const names = Array.from({ length: 12 }, (_, i) => join(stick, `slow${i}.jdx`));
  names.forEach((name, i) => writeFileSync(name, jcamp({ title: `slow ${i}`, seed: 90 + i })));
  // Each answer is held back, so that Stop is pressed in the middle.
  let release;
  const held = new Promise((resolve) => (release = resolve));
  await page.route('**/captures?*', async (route) => {
    await held;
    await route.continue();
  });
  await choose(names, 'Or files');
  await page.getByRole('button', { name: 'Send' }).focus();
  await page.keyboard.press('Enter');
  await stateIs('slow0.jdx', 'Being sent');
  await page.getByRole('button', { name: 'Stop' }).press('Enter');
  rmSync(names[11]);
  release();
  await summary(page, '11 files to be sent; 1 taken');
  await page.unroute('**/captures?*');
  await page.getByRole('button', { name: 'Send the rest' }).press('Enter');
  await stateIs('slow10.jdx', 'Taken');
  await stateIs('slow11.jdx', 'is the stick still in?');
});

test('on a phone the page fits, and an instructor may use it', async () => {
  const visit = await visitor(browser, lab, { size: 'phone' });
  await signIn(visit, 'ruth');
  await visit.page.goto('/staff#/bring');
  await visit.page.getByLabel('Or files').setInputFiles(join(stick, 'notes.txt'));
  await summary(visit.page, '1 file to be sent');
  await judge(visit, 'on a phone');
  await visit.context.close();
  const other = await visitor(browser, lab);
  await signIn(other, 'dora');
  await other.page.goto('/staff');
  await other.page.getByRole('link', { name: 'Unclaimed' }).waitFor();
  assert.equal(await other.page.getByRole('link', { name: 'Bring files' }).count(), 0);
  await other.context.close();
});
