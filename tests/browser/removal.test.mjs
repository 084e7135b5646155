// What staff do afterwards: enter a turn that was forgotten, remove what is private, erase a person; and what each
// of them sees of where they are signed in.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { judge, launch, signIn, visitor } from './browser.mjs';
import { Lab } from './lab.mjs';

const lab = new Lab();
let browser;
let ruth;
let number;

const inMain = (page, text) => page.locator('main').getByText(text).first();
const box = (page) => page.locator('details.removal[open]');

before(async () => {
  await lab.open();
  browser = await launch();
});
after(async () => {
  await browser?.close();
  await lab.close();
});

/** Waits until so many spectra stand among the unclaimed. */
async function unclaimed(page, count) {
  await page.goto('/staff#/unclaimed');
  for (let i = 0; i < 100; i += 1) {
    if ((await page.locator('main .card .accession').count()) === count) return;
    await new Promise((resolve) => setTimeout(resolve, 200));
  }
  throw new Error(`never ${count} unclaimed`);
}

test('a turn that was forgotten is shown before it is entered', async () => {
  ruth = await visitor(browser, lab);
  const { page } = ruth;
  await signIn(ruth, 'ruth');
  lab.export('run1.jdx', { seed: 1, title: 'one' });
  lab.export('run2.jdx', { seed: 2, title: 'two', scale: 0.7 });
  await unclaimed(page, 2);
  await page.getByRole('link', { name: 'Enter a turn' }).click();
  await page.getByLabel('Person').selectOption({ label: 'Maya Rao' });
  await page.getByLabel('Experiment').selectOption({ index: 1 });
  await page.getByRole('button', { name: 'Show what it would take over' }).click();
  await inMain(page, /now Nobody yet/).waitFor();
  assert.equal(await page.locator('main li .accession').count(), 2);
  await judge(ruth, 'turn');
  number = await page.locator('main li .accession').first().textContent();
  await page.getByRole('button', { name: 'Enter this turn' }).click();
  await inMain(page, '2 spectra have its name now').waitFor();
  await unclaimed(page, 0);
});

test('a section has its booklet beside the ZIP', async () => {
  const { page, context } = ruth;
  await page.goto('/staff');
  await page.getByRole('link', { name: /CHEM 231/ }).click();
  const link = page.getByRole('link', { name: 'Booklet (PDF)' });
  const booklet = await context.request.get(await link.getAttribute('href'));
  assert.equal(booklet.status(), 200);
  assert.equal((await booklet.body()).subarray(0, 5).toString(), '%PDF-');
});

test('a lost bench card is made void from the grid', async () => {
  const { page, context } = ruth;
  await page.getByText('A bench card is lost').click();
  const end = page.getByRole('button', { name: 'Make card and PIN void' });
  await end.click();
  await page.getByText('Please choose whose card it is.').waitFor();
  await page.getByLabel('Whose card is lost').selectOption({ label: 'Maya Rao' });
  await end.click();
  await page.getByText('This person has neither a card nor a PIN.').waitFor();
  ruth.trouble.length = 0; // the refusal just seen, which the browser notes as an error
  const section = new URL(page.url()).hash.split('/').pop();
  const made = await context.request.post(`/api/v1/sections/${section}/cards`, {
    headers: { Origin: new URL(page.url()).origin },
    data: {},
  });
  assert.ok(made.ok(), await made.text());
  await end.click();
  await page.getByText('Maya Rao: card and PIN are void.').waitFor();
});

test('an instructor removes a private spectrum, and its number says so', async () => {
  const { page } = ruth;
  const find = async () => {
    await page.goto('/staff');
    await page.getByLabel('Find by number').fill(number);
    await page.getByRole('button', { name: 'Find' }).click();
  };
  await find();
  await page.getByText('Remove for good').click();
  await box(page).getByText(/bytes of 1 file go/).waitFor();
  await judge(ruth, 'remove');
  await box(page).getByLabel('Reason').fill('a private sample');
  await box(page).getByLabel('Number').fill('10001');
  await box(page).getByRole('button').click();
  await box(page).getByText(/Type the spectrum.s number/).waitFor();
  await box(page).getByLabel('Number').fill(number);
  ruth.trouble.length = 0; // the refusal is logged by the browser
  await box(page).getByRole('button').click();
  await inMain(page, /now says when, by whom and why/).waitFor();
  await find();
  await inMain(page, /removed by Ruth Amsel/).waitFor();
  await inMain(page, 'Reason: a private sample').waitFor();
  await judge(ruth, 'removed');
  const maya = await visitor(browser, lab);
  await signIn(maya, 'maya');
  await maya.page.goto(`/#/number/${number}`);
  await inMain(maya.page, /removed by Ruth Amsel/).waitFor();
  await maya.context.close();
});

test('one of several places where one is signed in is ended', async () => {
  const other = await visitor(browser, lab);
  await signIn(other, 'ruth');
  const { page } = ruth;
  await page.goto('/#/account');
  await page.getByText('Here:').waitFor();
  await judge(ruth, 'account');
  await page.getByRole('button', { name: 'Sign out there' }).click();
  await page.getByRole('button', { name: 'Sign out there' }).waitFor({ state: 'detached' });
  assert.equal(await page.getByRole('button', { name: 'Sign out here' }).count(), 1);
  await other.page.goto('/staff');
  await other.page.getByLabel('Your sign-in name').waitFor();
  await other.context.close();
});

test('an administrator erases a person', async () => {
  const ada = await visitor(browser, lab);
  const { page } = ada;
  await signIn(ada, 'ada');
  await page.goto('/setup#/people');
  await page.locator('summary', { hasText: 'Rao, Maya' }).waitFor();
  await page.getByLabel('Search').fill('okafor');
  await page.locator('summary', { hasText: 'Rao, Maya' }).waitFor({ state: 'detached' });
  await page.locator('summary', { hasText: 'Okafor, Ben' }).click();
  await page.locator('summary', { hasText: 'Erase this person' }).click();
  await box(page).getByText('No spectra.').waitFor();
  await judge(ada, 'erase');
  await box(page).getByLabel('Reason').fill('asked for it');
  await box(page).getByLabel('Sign-in name').fill('ben');
  await box(page).getByRole('button').click();
  await inMain(page, 'Nobody fits.').waitFor();
  await ada.context.close();
});

test('an instructor reaches the instruments', async () => {
  const { page } = ruth;
  await page.goto('/fleet');
  await page.getByRole('heading', { name: 'Instruments', exact: true }).waitFor();
  await inMain(page, 'IR-2').waitFor();
  await ruth.context.close();
});
