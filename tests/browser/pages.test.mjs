// The pages in a real browser against the real gateway, agent and command.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { judge, launch, signIn, visitor } from './browser.mjs';
import { Lab } from './lab.mjs';

const lab = new Lab();
let browser;
let bench;
let number = 0;

before(async () => {
  await lab.open();
  browser = await launch();
});
after(async () => {
  await browser?.close();
  await lab.close();
});

const inMain = (page, text) => page.locator('main').getByText(text).first();

async function enrol(visit) {
  await visit.page.goto('/bench');
  await visit.page.getByLabel('Code from staff').fill(lab.newBenchCode());
  await visit.page.getByRole('button', { name: /This device stands/ }).click();
}

const pause = () => new Promise((resolve) => setTimeout(resolve, 1500));

/** The next spectrum under a name of its own, well apart from changes of turns. */
function measure(options) {
  number += 1;
  lab.export(`run${number}.jdx`, { seed: number, title: `run ${number}`, ...options });
}

test('a bench is enrolled by code, and a student signs on in three taps', async () => {
  bench = await visitor(browser, lab, { size: 'tablet' });
  await enrol(bench);
  const { page } = bench;
  await page.getByRole('heading', { name: 'Who is measuring?' }).waitFor();
  await judge(bench, 'sign-on');
  await page.getByRole('button', { name: 'Maya R.' }).click();
  await page.getByRole('button', { name: 'Unknown B' }).click();
  await page.getByRole('button', { name: 'Start' }).click();
  await page.getByRole('heading', { name: 'Maya R.' }).waitFor();
  await inMain(page, 'Measure and save').waitFor();
  await judge(bench, 'waiting');
});

test('a new spectrum and its verdict appear on the bench by themselves', async () => {
  const { page } = bench;
  const wrote = Date.now();
  measure();
  await page.getByRole('button', { name: 'Keep and print' }).waitFor();
  const took = Date.now() - wrote;
  console.log(`from file to bench page: ${took} ms`);
  await page.locator('.plot canvas').waitFor();
  assert.match(await page.locator('.verdict-line').textContent(), /usable|run again/i);
  await judge(bench, 'a new spectrum');
});

test('keeping and handing over blanks name and plot and shows the one picture', async () => {
  const { page } = bench;
  await page.getByRole('button', { name: 'Keep and print' }).click();
  await inMain(page, 'Kept.').waitFor();
  await page.getByRole('button', { name: 'Done' }).click();
  await page.getByRole('heading', { name: /Take your sample/ }).waitFor();
  assert.equal(await page.getByText('Maya R.').count(), 0);
  assert.equal(await page.locator('.plot').count(), 0);
  await judge(bench, 'hand-over');
  await page.getByRole('button', { name: 'Next, please' }).click();
  await page.getByRole('heading', { name: 'Who is measuring?' }).waitFor();
});

test('the bench works with the keyboard alone', async () => {
  const { page } = bench;
  await page.getByRole('button', { name: 'Ben O.' }).focus();
  await page.keyboard.press('Enter');
  await page.getByRole('button', { name: 'Start' }).waitFor();
  assert.equal(await page.evaluate(() => document.activeElement.textContent), 'Start');
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'Ben O.' }).waitFor();
  await page.getByRole('button', { name: 'Done' }).focus();
  await page.keyboard.press('Enter');
  await page.getByRole('button', { name: 'Next, please' }).waitFor();
  await page.keyboard.press('Enter');
  await page.getByRole('heading', { name: 'Who is measuring?' }).waitFor();
});

/** Types as a code reader does: digits, then Enter. */
async function show(page, card) {
  await page.keyboard.type(card, { delay: 2 });
  await page.keyboard.press('Enter');
}

test('a card signs on whatever has the focus, a second one joins, and another one asks to hand over', async () => {
  const card = {};
  for (const login of ['maya', 'ben']) {
    const visit = await visitor(browser, lab, { size: 'phone' });
    await signIn(visit, login);
    await visit.page.getByRole('link', { name: 'My bench card' }).click();
    await visit.page.getByRole('button', { name: 'Make my bench card' }).click();
    await visit.page.getByRole('img', { name: 'Your bench card as a QR code' }).waitFor();
    await judge(visit, 'my bench card');
    card[login] = lab.cardOf(login);
    await visit.context.close();
  }
  const { page } = bench;
  await page.getByLabel('Card, PIN or number').focus();
  await show(page, card.maya);
  await page.getByRole('heading', { name: 'Maya R.' }).waitFor();
  await judge(bench, 'a card was shown');
  await page.getByLabel('or as on the label').fill('S-7');
  await show(page, card.ben);
  await page.getByRole('heading', { name: 'Maya R., Ben O.' }).waitFor();
  await page.getByRole('button', { name: 'Start' }).click();
  await page.getByRole('heading', { name: /Ben O.*Maya R.|Maya R.*Ben O./ }).waitFor();
  await page.getByText('sample S-7').waitFor();
  await show(page, card.maya);
  await page.getByRole('button', { name: 'Done' }).click();
  await page.getByRole('button', { name: 'Next, please' }).click();
  await show(page, card.maya);
  await page.getByRole('button', { name: 'Start' }).waitFor();
  await show(page, card.maya); // once more: Start without touching anything
  await page.getByRole('button', { name: 'Done' }).waitFor();
  await show(page, card.ben);
  await page.getByRole('button', { name: 'Hand over to Ben O.' }).waitFor();
  await judge(bench, 'hand over?');
  await page.getByRole('button', { name: 'Wait in line' }).click();
  await page.getByText('Next in line: Ben O.').waitFor();
  await judge(bench, 'waiting list');
  await page.getByRole('button', { name: 'Leaves the line' }).click();
  await page.getByText('Next in line').waitFor({ state: 'detached' });
  await page.getByRole('button', { name: 'Done' }).click();
  await page.getByRole('button', { name: 'Next, please' }).click();
});

test('the bench is paused and goes on', async () => {
  const { page } = bench;
  await page.getByText('Not teaching: pause').click();
  await page.getByRole('button', { name: 'For an hour' }).click();
  await page.getByText(/Paused until \d\d:\d\d/).waitFor();
  await judge(bench, 'paused');
  await page.getByRole('button', { name: 'Resume' }).click();
  await page.getByText(/Paused until/).waitFor({ state: 'detached' });
});

test('a spectrum that comes while nobody is signed on is asked about, and an answer gives it its name', async () => {
  const { page } = bench;
  measure();
  await page.getByRole('heading', { name: 'Whose spectrum is this?' }).waitFor();
  await judge(bench, 'question');
  await page.getByRole('button', { name: 'I am …' }).click();
  await page.getByRole('button', { name: 'Chen L.' }).click();
  await page.getByRole('heading', { name: 'Chen L.' }).waitFor();
  await page.getByRole('button', { name: 'Done' }).click();
  await page.getByRole('button', { name: 'Next, please' }).click();
});

test('a file of another kind is told at once, with how to export', async () => {
  const { page } = bench;
  lab.exportText('MAYA.SPX', 'binary');
  await page.getByText('“MAYA.SPX” is not a spectrum file').waitFor({ timeout: 15000 });
  await page.locator('#bars').getByText('Choose File, Export, JCAMP-DX.').waitFor();
});

test('without the gateway the bench carries on, and the turn arrives afterwards', async () => {
  const { page, trouble } = bench;
  await lab.stopGateway();
  await page.getByText(/Server not reached since \d\d:\d\d. Carry on/).waitFor({ timeout: 20000 });
  await page.getByRole('button', { name: 'Ben O.' }).click();
  await page.getByRole('button', { name: 'Start' }).click();
  await page.getByRole('heading', { name: 'Ben O.' }).waitFor();
  await inMain(page, 'The spectrum is safe on this PC').waitFor();
  await lab.startGateway();
  await page.getByText('Server not reached').waitFor({ state: 'detached', timeout: 20000 });
  await page.getByRole('heading', { name: 'Ben O.' }).waitFor();
  assert.match(
    JSON.stringify(
      await page.evaluate(() =>
        fetch(`/api/v1/bench/${document.body.dataset.instrument}`)
          .then((r) => r.json())
          .then((s) => s.turn.persons),
      ),
    ),
    /Ben O\./,
  );
  trouble.length = 0; // the browser itself reports connections that were refused meanwhile
  await page.getByRole('button', { name: 'Done' }).click();
  await page.getByRole('button', { name: 'Next, please' }).click();
});

test('the bench works without script, by plain forms', async () => {
  const visit = await visitor(browser, lab, { size: 'phone', javaScriptEnabled: false });
  const { page } = visit;
  await enrol(visit);
  await page.getByRole('link', { name: 'To the bench page' }).click();
  await page.getByRole('radio', { name: '<b>Bo ".' }).check();
  await page.getByLabel('Sample, as on its label').fill('<script>alert(1)</script>');
  await page.getByRole('button', { name: 'Start' }).click();
  await page.getByRole('heading', { name: '<b>Bo ".' }).waitFor();
  await page.getByText('sample <script>alert(1)</script>').waitFor();
  await pause(); // a file tells the time in whole seconds
  measure({ timed: true });
  await page.getByRole('button', { name: 'Keep and print' }).waitFor({ timeout: 15000 });
  const picture = page.getByRole('img', { name: /^Sheet of/ });
  assert.ok(
    await picture.evaluate((image) => image.complete && image.naturalWidth > 300),
    'the sheet is shown as a picture',
  );
  await page.getByRole('button', { name: 'Keep and print' }).click();
  await page.getByText('Kept.').waitFor();
  await page.getByRole('button', { name: 'Done' }).click();
  await page.getByRole('heading', { name: /Take your sample/ }).waitFor();
  await page.getByRole('link', { name: 'Next, please' }).click();
  await page.getByRole('heading', { name: 'Who is measuring?' }).waitFor();
  assert.deepEqual(visit.trouble, []);
  await visit.context.close();
});

test('a form that lacks the name is refused with the reason and the way back', async () => {
  const visit = await visitor(browser, lab, { javaScriptEnabled: false });
  const { page } = visit;
  await enrol(visit);
  await page.getByRole('link', { name: 'To the bench page' }).click();
  await page.getByRole('button', { name: 'Start' }).click();
  await page.getByText('Say who you are').waitFor();
  await page.getByRole('link', { name: 'Back' }).click();
  await page.getByRole('heading', { name: 'Who is measuring?' }).waitFor();
  await visit.context.close();
});

test('nobody sees a page of data without signing in, and a wrong password says so', async () => {
  const visit = await visitor(browser, lab);
  const { page } = visit;
  await page.goto('/#/inbox');
  await page.getByRole('heading', { name: 'Sign in' }).waitFor();
  await judge(visit, 'sign-in');
  await page.getByLabel('Your sign-in name').fill('maya');
  await page.getByRole('button', { name: 'Use a password instead' }).click();
  await page.getByLabel('Password').fill('wrong');
  await page.getByRole('button', { name: 'Sign in', exact: true }).click();
  await page.getByRole('alert').waitFor();
  await visit.context.close();
});

test('a student finds the spectrum, reads the plot, and gets every download', async () => {
  const visit = await visitor(browser, lab, { size: 'phone' });
  const { page, context } = visit;
  await signIn(visit, 'maya');
  await page.getByRole('heading', { name: 'Your spectra' }).waitFor();
  await inMain(page, 'Unknown B').waitFor();
  await judge(visit, 'inbox');
  await page.getByLabel('Search').fill('no such thing');
  await inMain(page, 'Nothing fits').waitFor();
  await page.getByLabel('Search').fill('Unknown B');
  await page.locator('ul.spectra a').first().click();
  await page.locator('.plot canvas').waitFor();
  assert.match(await page.locator('.uplot').getAttribute('data-labels'), /1742/);
  await page.locator('.plot-box').focus();
  await page.keyboard.press('ArrowRight');
  assert.match(await page.locator('.read-out').textContent(), /\d+\.\d cm⁻¹ · \d+\.\d %T/);
  await page.getByRole('button', { name: 'Absorbance' }).click();
  await page.getByRole('button', { name: 'Absorbance', pressed: true }).waitFor();
  await judge(visit, 'one spectrum');
  const wanted = {
    'Sheet (PDF)': /^%PDF-/,
    'Original file': /^##TITLE=/,
    'JCAMP-DX': /##JCAMP-DX=/,
    CSV: /\d/,
  };
  for (const [name, start] of Object.entries(wanted)) {
    const href = await page.getByRole('link', { name }).getAttribute('href');
    const answer = await context.request.get(href);
    assert.equal(answer.status(), 200, name);
    assert.match((await answer.body()).toString('latin1'), start, name);
  }
  await page.goto('/#/account');
  await page.getByRole('heading', { name: 'Maya Rao' }).waitFor();
  await judge(visit, 'account');
  await page.goto('/staff');
  await page.getByRole('heading', { name: 'Not for you' }).waitFor();
  await context.close();
});

test('an instructor sees who has what in words, and downloads the lot', async () => {
  const visit = await visitor(browser, lab);
  const { page, context } = visit;
  await signIn(visit, 'ruth');
  await page.goto('/staff');
  await page.getByRole('heading', { name: 'Classes now' }).waitFor();
  await inMain(page, /IR-\d+ ready|IR-\d+ not ready/).waitFor();
  await page.getByRole('link', { name: /CHEM 231, section 02/ }).click();
  await page.getByRole('rowheader', { name: /Maya Rao/ }).waitFor();
  const maya = page.getByRole('row', { name: /Maya Rao/ });
  assert.match(await maya.textContent(), /usable|note|again/);
  await judge(visit, 'grid');
  const zip = await context.request.get(
    await page.getByRole('link', { name: 'ZIP for marking' }).getAttribute('href'),
  );
  assert.equal(zip.status(), 200);
  assert.equal((await zip.body()).subarray(0, 2).toString(), 'PK');
  for (const [hash, heading] of [
    ['#/unclaimed', 'Unclaimed'],
    ['#/notices', 'Notices'],
    ['#/unread', 'Unread files'],
  ]) {
    await page.goto(`/staff${hash}`);
    await page.getByRole('heading', { name: heading, exact: true }).waitFor();
    await judge(visit, heading);
  }
  await context.close();
});

test('the grid is live: a new spectrum appears without a reload', async () => {
  const visit = await visitor(browser, lab);
  await signIn(visit, 'dora');
  await visit.page.goto('/staff');
  await visit.page.getByRole('link', { name: /CHEM 231, section 02/ }).click();
  const row = visit.page.getByRole('row', { name: /李/ });
  await row.waitFor();
  assert.match(await row.textContent(), /nothing/);
  const { page } = bench;
  await page.getByRole('button', { name: '小龍' }).click();
  await page.getByRole('button', { name: 'Start' }).click();
  await page.getByRole('heading', { name: '小龍' }).waitFor();
  await pause();
  measure({ timed: true });
  await row.getByText(/usable|note|again/).waitFor({ timeout: 15000 });
  await visit.context.close();
});

test('a marker sees no names', async () => {
  const visit = await visitor(browser, lab);
  const { page } = visit;
  await signIn(visit, 'mark');
  await page.goto('/staff');
  await page.getByRole('link', { name: /CHEM 231, section 02/ }).click();
  await page.getByRole('rowheader', { name: 'Student 1', exact: true }).waitFor();
  assert.doesNotMatch(await page.locator('main').textContent(), /Maya|Rao|Okafor|300100/);
  await judge(visit, 'grid of a marker');
  await page.locator('table.grid td > a, table.grid td > button').first().click();
  await page.locator('.accession').first().waitFor();
  assert.doesNotMatch(await page.locator('body').textContent(), /Maya|Okafor|Chen Li/);
  await visit.context.close();
});

test('a technician sees the instruments in words', async () => {
  const visit = await visitor(browser, lab, { size: 'tablet' });
  const { page } = visit;
  await signIn(visit, 'tom');
  await page.goto('/fleet');
  await page.getByRole('heading', { name: 'IR-2' }).waitFor();
  await inMain(page, 'Ready').waitFor();
  await inMain(page, /Today: up \d+ %, down \d+ %, unknown \d+ %/).waitFor();
  await judge(visit, 'instruments');
  for (const [hash, heading] of [
    ['#/printers', 'Printers'],
    ['#/deliveries', 'Deliveries'],
  ]) {
    await page.goto(`/fleet${hash}`);
    await page.getByRole('heading', { name: heading, exact: true }).waitFor();
    await judge(visit, heading);
  }
  await visit.context.close();
});

test('an administrator gives a section a term and a weekly meeting, moves a day, and moves a student', async () => {
  const visit = await visitor(browser, lab);
  const { page } = visit;
  await signIn(visit, 'ada');
  await page.goto('/setup#/terms');
  const term = page.locator('details[open] form');
  await term.getByLabel(/^Code/).fill('99S');
  await term.getByLabel('First day').fill('2099-03-02');
  await term.getByLabel('Last day').fill('2099-04-30');
  await term.getByRole('button', { name: 'Add' }).click();
  await inMain(page, '2099-03-02 to 2099-04-30').waitFor();
  await page.goto('/setup#/courses/CHEM%20231');
  await page.getByText('Add a section').click();
  const added = page.locator('details[open] form');
  await added.getByLabel(/^Code/).fill('77');
  await added.getByLabel(/^Term/).selectOption('99S');
  await added.getByRole('button', { name: 'Add' }).click();
  await page.getByRole('link', { name: /Section 77/ }).click();
  const weekly = page.locator('details[open] form');
  await weekly.getByLabel('Weekday').selectOption('Monday');
  await weekly.getByLabel('From').fill('14:00');
  await weekly.getByLabel('To').fill('13:00');
  await weekly.getByRole('button', { name: 'Add' }).click();
  await inMain(page, 'ends before it starts').waitFor();
  visit.trouble.length = 0; // the browser tells of the refusal, as it should
  await weekly.getByLabel('To').fill('17:00');
  await weekly.getByRole('button', { name: 'Add' }).click();
  await inMain(page, /9 to come/).waitFor();
  await page.getByText('A day otherwise').click();
  const other = page.locator('details[open] form');
  await other.getByLabel('Day').fill('2099-03-30');
  await other.getByRole('button', { name: 'Save' }).click();
  await inMain(page, 'Not 2099-03-30').waitFor();
  await page.getByText(/All meetings to come/).click();
  await inMain(page, '2099-04-06 14:00 to 17:00').waitFor();
  await judge(visit, 'section');
  await page.getByText('Add one student').click();
  const student = page.locator('details[open] form').last();
  await student.getByLabel(/^Sign-in name/).fill('ben');
  await student.getByRole('button', { name: 'Add' }).click();
  await page.locator('summary', { hasText: '1 student' }).click();
  await page.locator('summary', { hasText: 'Okafor, Ben' }).click();
  await page.getByRole('button', { name: 'Leaves the section' }).click();
  await page.locator('summary', { hasText: '0 students' }).click();
  await inMain(page, /left Today/).waitFor();
  await visit.context.close();
});

test('an administrator sets up an instrument and tries a roster before applying it', async () => {
  const visit = await visitor(browser, lab);
  const { page } = visit;
  await signIn(visit, 'ada');
  await page.goto('/setup');
  await page.getByText('Add an instrument').click();
  const form = page.locator('details[open] form');
  await form.getByLabel(/^Name as/).fill('IR-9');
  await form.getByLabel(/^Place/).fill('Science/2/216');
  await form.getByRole('button', { name: 'Add' }).click();
  await page.getByText(/wavepost-agent join 'https:/).waitFor();
  await judge(visit, 'set-up');
  await page.goto('/setup#/courses/CHEM%20231/roster/02');
  await page.getByLabel('or paste it').fill('login,given,family\nmaya,Maya,Rao\nnew,Vera,Holt\n');
  await page.getByRole('button', { name: 'Show what would change' }).click();
  await inMain(page, 'new (Vera Holt)').waitFor();
  await page.getByRole('heading', { name: /Leave the section \(4\)/ }).waitFor();
  await judge(visit, 'roster');
  await page.getByLabel('or paste it').fill('login,given,family\n,Nobody,Here\n');
  await page.getByRole('button', { name: 'Show what would change' }).click();
  await inMain(page, /Line 2:/).waitFor();
  assert.equal(await page.getByRole('button', { name: 'Apply this' }).count(), 0);
  for (const [url, heading] of [
    ['/setup#/printers', 'Printers'],
    ['/setup#/people', 'People'],
    ['/setup#/courses', 'Courses'],
    ['/setup#/terms', 'Terms'],
    ['/ledger', 'Ledger'],
  ]) {
    await page.goto(url);
    await page.getByRole('heading', { name: heading, exact: true }).waitFor();
    await judge(visit, heading);
  }
  await page.getByRole('button', { name: 'Check the chain' }).click();
  await inMain(page, /Sound: \d+ entries checked/).waitFor();
  await visit.context.close();
});
