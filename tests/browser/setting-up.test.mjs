// What the pages of setting up refuse and say, and what staff see of it.

import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { judge, launch, signIn, visitor } from './browser.mjs';
import { Lab } from './lab.mjs';

let lab;
let browser;
let admin;

before(async () => {
  lab = await new Lab().open();
  browser = await launch();
  admin = await visitor(browser, lab);
  await signIn(admin, 'ada');
});

after(async () => {
  await browser?.close();
  await lab?.close();
});

/* A refusal is an answer of the gateway that the browser writes to its console. */
const refusal = (visit) => visit.trouble.splice(0).filter((text) => !/status of (409|422|404)/.test(text));

test('somebody of a known sign-in name is not added again', async () => {
  const { page } = admin;
  await page.goto('/setup#/people');
  await page.getByText('Add a person').click();
  const form = page.locator('details', { hasText: 'Add a person' });
  await form.getByLabel('Sign-in name').fill('maya');
  await form.getByLabel('Given name').fill('Somebody');
  await form.getByLabel('Family name').fill('Else');
  await form.getByRole('button', { name: 'Add' }).click();
  await page.getByRole('alert').getByText('There is a person "maya" already.').waitFor();
  assert.match(lab.command('person', 'list', 'maya'), /Rao/);
  assert.deepEqual(refusal(admin), []);
});

test('a course of a known code is not added again, and pages a day that are no number are refused', async () => {
  const { page } = admin;
  await page.goto('/setup#/courses');
  await page.getByText('Add a course').click();
  await page.getByLabel('Code').fill('CHEM 231');
  await page.getByRole('button', { name: 'Add', exact: true }).click();
  await page.getByRole('alert').getByText('There is a course "CHEM 231" already.').waitFor();
  await page.getByLabel('Code').fill('CHEM 232');
  await page.getByLabel('Pages a day').fill('many');
  await page.getByRole('button', { name: 'Add', exact: true }).click();
  await page.getByRole('alert').getByText('Pages a day are a whole number').waitFor();
  await page.getByLabel('Pages a day').fill('');
  await page.getByRole('button', { name: 'Add', exact: true }).click();
  await page.getByRole('link', { name: 'CHEM 232' }).waitFor();
  assert.deepEqual(refusal(admin), []);
  await judge(admin, 'courses');
});

test('staff are exactly what is ticked, and something must be', async () => {
  const { page } = admin;
  await page.goto('/setup#/courses/CHEM%20231/section/02');
  await page.getByText('Add staff').click();
  const form = page.locator('details', { hasText: 'Add staff' });
  for (const role of ['demonstrator', 'instructor', 'marker'])
    assert.equal(await form.getByLabel(role).isChecked(), false, `${role} is not preset`);
  await form.getByLabel('Sign-in name').fill('tom');
  await form.getByRole('button', { name: 'Add' }).click();
  await page.getByRole('alert').getByText('Please tick').waitFor();
  await form.getByLabel('demonstrator').check();
  await form.getByRole('button', { name: 'Add' }).click();
  await page.getByText('Tom Sand').waitFor();
  const told = lab.command('staff', 'list', '--course', 'CHEM 231', '--section', '02');
  assert.match(told, /tom .*demonstrator/);
  assert.doesNotMatch(told, /tom .*instructor/);
  lab.command('staff', 'remove', 'tom', '--course', 'CHEM 231', '--section', '02');
});

test('a roster of an older spreadsheet is read, and a picture is none', async () => {
  const { page } = admin;
  await page.goto('/setup#/courses/CHEM%20231/roster/02');
  const file = join(lab.folder, 'latin.csv');
  writeFileSync(file, Buffer.from('login,given,family\nrdupre,Ren\u00e9,Dupr\u00e9\n', 'latin1'));
  await page.getByLabel('A file').setInputFiles(file);
  await page.getByRole('button', { name: 'Show what would change' }).click();
  await page.getByText('read as Windows-1252').waitFor();
  await page.getByText('René Dupré').last().waitFor();
  const picture = join(lab.folder, 'picture.csv');
  writeFileSync(picture, Buffer.from([0x89, 0x50, 0x4e, 0x47, 0, 1, 2, 3]));
  await page.getByLabel('A file').setInputFiles(picture);
  await page.getByRole('alert').getByText('is no text').waitFor();
  await judge(admin, 'roster');
});

test('an instrument that has not joined yet is no fault, and a printer that cannot be reached is one', async () => {
  const { page } = admin;
  lab.command('instrument', 'add', 'IR-9', '--place', 'Science/2/214/bench D');
  await page.goto('/fleet');
  await page.locator('.summary').getByText('1 not joined yet').waitFor();
  await page.locator('.summary').getByText('Ready', { exact: true }).waitFor();
  lab.command('printer', 'add', 'P-1', '--uri', 'ipp://127.0.0.1:1/ipp/print', '--place', 'Science/2/214');
  lab.command('instrument', 'change', 'IR-2', '--first-printer', 'P-1');
  await page.locator('.summary').getByText('0 of 1 ready').waitFor({ timeout: 40000 });
  await judge(admin, 'fleet');
});

test('what is settled is asked once more', async () => {
  const { page } = admin;
  const bench = await page.evaluate(async () => {
    const { instruments } = await (await fetch('/api/v1/instruments')).json();
    const path = `/api/v1/bench/${instruments.find((i) => i.name === 'IR-2').id}/plates-out`;
    const headers = { 'Content-Type': 'application/json' };
    return (await fetch(path, { method: 'POST', headers, body: '{}' })).status;
  });
  assert.ok(bench < 300, `plates out of use: ${bench}`);
  await page.goto('/staff#/notices');
  const settle = page.getByRole('button', { name: 'Mark as settled' }).first();
  await settle.waitFor({ timeout: 30000 });
  await settle.click();
  await page.getByRole('button', { name: 'Not yet' }).click();
  await settle.click();
  await page.getByRole('button', { name: 'Yes, settled' }).click();
  await page.getByText('Nothing to look at.').waitFor();
  await page.goto('/staff#/unclaimed');
  await page.getByText('Every spectrum has its name.').waitFor();
  const visit = await visitor(browser, lab);
  await signIn(visit, 'dora');
  await visit.page.goto('/staff#/unclaimed');
  await visit.page.getByText('Every spectrum of your sections has its name.').waitFor();
  await judge(visit, 'unclaimed');
  await visit.context.close();
});

test('a mistyped address is a page', async () => {
  const visit = await visitor(browser, lab);
  await visit.page.goto('/stuff');
  await visit.page.getByText('There is nothing here under this name.').waitFor();
  await visit.page.getByRole('link', { name: 'To the first page' }).click();
  await visit.page.getByLabel('Your sign-in name').waitFor();
  assert.deepEqual(refusal(visit), []);
  await visit.context.close();
});
