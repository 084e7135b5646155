// Every role opens every page that its navigation offers: no error, no breach of the policy, nothing wider
// than the screen, nothing serious for axe-core.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { judge, launch, signIn, visitor } from './browser.mjs';
import { Lab } from './lab.mjs';

let lab;
let browser;

before(async () => {
  lab = await new Lab().open();
  browser = await launch();
});

after(async () => {
  await browser?.close();
  await lab?.close();
});

const links = async (page, navigation) =>
  page.getByRole('navigation', { name: navigation }).getByRole('link').evaluateAll((all) => all.map((a) => a.href));

async function open(visit, address, name) {
  const { page } = visit;
  await page.goto('about:blank');
  await page.goto(address);
  await page.locator('main h1').first().waitFor();
  await page.waitForLoadState('networkidle');
  assert.doesNotMatch(await page.locator('main').innerText(), /\[object |undefined|NaN|null/, 'words for people');
  await judge(visit, `${name} ${new URL(address).pathname}${new URL(address).hash}`);
}

for (const [login, size] of [
  ['maya', 'phone'],
  ['ruth', 'desktop'],
  ['dora', 'tablet'],
  ['mark', 'desktop'],
  ['tom', 'phone'],
  ['ada', 'desktop'],
])
  test(`${login} opens every page on offer (${size})`, async () => {
    const visit = await visitor(browser, lab, { size });
    await signIn(visit, login);
    const pages = await links(visit.page, 'Pages');
    assert.ok(pages.length > 0, 'there is a navigation');
    for (const address of pages) {
      await open(visit, address, login);
      const tabs = visit.page.getByRole('navigation', { name: 'Parts of this page' });
      if ((await tabs.count()) === 0) continue;
      for (const part of await links(visit.page, 'Parts of this page')) await open(visit, part, login);
    }
    await visit.context.close();
  });
