// Chromium for the tests: every page is watched for errors and for breaches of the security policy.

import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { PASSWORD } from './lab.mjs';

const require = createRequire(join(process.env.WAVEPOST_BUILD, 'browser', 'package.json'));
const { chromium } = require('playwright-core');
const AXE = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
const FLAGS = [
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];
export const SIZES = {
  phone: { width: 390, height: 844 },
  tablet: { width: 820, height: 1180 },
  desktop: { width: 1280, height: 860 },
};

export const launch = () =>
  chromium.launch({ executablePath: process.env.CHROMIUM || '/usr/bin/chromium', args: FLAGS });

/** A fresh browser profile on `lab`; `trouble` collects what went wrong on its pages. */
export async function visitor(browser, lab, { size = 'desktop', ...options } = {}) {
  const context = await browser.newContext({
    baseURL: lab.url,
    ignoreHTTPSErrors: true,
    serviceWorkers: 'block', // refused by the browser, and told as an error, behind a certificate it does not trust
    viewport: SIZES[size],
    ...options,
  });
  context.setDefaultTimeout(10000);
  const page = await context.newPage();
  const trouble = [];
  page.on('console', (message) => message.type() === 'error' && trouble.push(message.text()));
  page.on('pageerror', (error) => trouble.push(`${error.message} ${error.stack || ''}`));
  return { context, page, trouble };
}

export async function signIn(visit, login) {
  const { page } = visit;
  await page.goto('/#/sign-in');
  await page.getByLabel('Your sign-in name').fill(login);
  await page.getByRole('button', { name: 'Use a password instead' }).click();
  await page.getByLabel('Password').fill(PASSWORD);
  await page.getByRole('button', { name: 'Sign in', exact: true }).click();
  await page.getByRole('button', { name: 'Sign out' }).waitFor();
}

/** No breach of the policy, no error, nothing wider than the screen, nothing serious for axe-core. */
export async function judge(visit, name) {
  const { page, context, trouble } = visit;
  assert.deepEqual(trouble, [], `${name}: errors on the page`);
  assert.equal(
    await page.evaluate(() => Math.max(0, document.documentElement.scrollWidth - innerWidth)),
    0,
    `${name}: wider than the screen`,
  );
  // By the debugger, since the page's own policy lets no foreign script in.
  const session = await context.newCDPSession(page);
  await session.send('Runtime.evaluate', { expression: AXE });
  const { result } = await session.send('Runtime.evaluate', {
    expression:
      'axe.run(document).then((r) => JSON.stringify([r.violations.filter((v) => ["serious", "critical"].includes(v.impact)).map((v) => v.id + ": " + v.nodes.map((n) => n.target.join(" ")).join(", ")), r.passes.length]))',
    awaitPromise: true,
  });
  const [serious, passes] = JSON.parse(result.value);
  assert.deepEqual(serious, [], `${name}: accessibility`);
  assert.ok(passes > 5, `${name}: axe-core looked at the page`);
}
